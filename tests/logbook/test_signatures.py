from __future__ import annotations

import hashlib

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import SignatureError
from flightlog.logbook.signatures import (
    ANYBODYS_KEYS,
    Purpose,
    fingerprint,
    public_hex,
    sign,
    verify,
)
from tests.logbook.made import key_of, public_of
from tests.logbook.oracles import L, ed25519_public, ed25519_sign, small_order_keys

# RFC 8032, 7.1: TEST 1, 2, 3, 1024 and SHA(abc). Secret key, public key, message, signature.
LONG = """
08b8b2b733424243760fe426a4b54908632110a66c2f6591eabd3345e3e4eb98fa6e264bf09efe12ee50f8f54e9f77b1
e355f6c50544e23fb1433ddf73be84d879de7c0046dc4996d9e773f4bc9efe5738829adb26c81b37c93a1b270b20329d
658675fc6ea534e0810a4432826bf58c941efb65d57a338bbd2e26640f89ffbc1a858efcb8550ee3a5e1998bd177e93a
7363c344fe6b199ee5d02e82d522c4feba15452f80288a821a579116ec6dad2b3b310da903401aa62100ab5d1a36553e
06203b33890cc9b832f79ef80560ccb9a39ce767967ed628c6ad573cb116dbefefd75499da96bd68a8a97b928a8bbc10
3b6621fcde2beca1231d206be6cd9ec7aff6f6c94fcd7204ed3455c68c83f4a41da4af2b74ef5c53f1d8ac70bdcb7ed1
85ce81bd84359d44254d95629e9855a94a7c1958d1f8ada5d0532ed8a5aa3fb2d17ba70eb6248e594e1a2297acbbb39d
502f1a8c6eb6f1ce22b3de1a1f40cc24554119a831a9aad6079cad88425de6bde1a9187ebb6092cf67bf2b13fd65f270
88d78b7e883c8759d2c4f5c65adb7553878ad575f9fad878e80a0c9ba63bcbcc2732e69485bbc9c90bfbd62481d9089b
eccf80cfe2df16a2cf65bd92dd597b0707e0917af48bbb75fed413d238f5555a7a569d80c3414a8d0859dc65a46128ba
b27af87a71314f318c782b23ebfe808b82b0ce26401d2e22f04d83d1255dc51addd3b75a2b1ae0784504df543af8969b
e3ea7082ff7fc9888c144da2af58429ec96031dbcad3dad9af0dcbaaaf268cb8fcffead94f3c7ca495e056a9b47acdb7
51fb73e666c6c655ade8297297d07ad1ba5e43f1bca32301651339e22904cc8c42f58c30c04aafdb038dda0847dd988d
cda6f3bfd15c4b4c4525004aa06eeff8ca61783aacec57fb3d1f92b0fe2fd1a85f6724517b65e614ad6808d6f6ee34df
f7310fdc82aebfd904b01e1dc54b2927094b2db68d6f903b68401adebf5a7e08d78ff4ef5d63653a65040cf9bfd4aca7
984a74d37145986780fc0b16ac451649de6188a7dbdf191f64b5fc5e2ab47b57f7f7276cd419c17a3ca8e1b939ae49e4
88acba6b965610b5480109c8b17b80e1b7b750dfc7598d5d5011fd2dcc5600a32ef5b52a1ecc820e308aa342721aac09
43bf6686b64b2579376504ccc493d97e6aed3fb0f9cd71a43dd497f01f17c0e2cb3797aa2a2f256656168e6c496afc5f
b93246f6b1116398a346f1a641f3b041e989f7914f90cc2c7fff357876e506b50d334ba77c225bc307ba537152f3f161
0e4eafe595f6d9d90d11faa933a15ef1369546868a7f3a45a96768d40fd9d03412c091c6315cf4fde7cb68606937380d
b2eaaa707b4c4185c32eddcdd306705e4dc1ffc872eeee475a64dfac86aba41c0618983f8741c5ef68d3a101e8a3b8ca
c60c905c15fc910840b94c00a0b9d0
"""
VECTORS = {
    "1": (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701c"
        "f9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    "2": (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0"
        "f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    "3": (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f76098"
        "4dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
    "1024": (
        "f5e5767cf153319517630f226876b86c8160cc583bc013744c6bf255f5cc0ee5",
        "278117fc144c72340f67d0f2316e8386ceffbf2b2428c9c51fef7c597f1d426e",
        "".join(LONG.split()),
        "0aab4c900501b3e24d7cdf4663326a3a87df5e4843b2cbdb67cbf6e460fec350aa5371b1508f9f4528ecea23c4"
        "36d94b5e8fcd4f681e30a6ac00a9704a188a03",
    ),
    "SHA(abc)": (
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        hashlib.sha512(b"abc").hexdigest(),
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c664"
        "31e0303dca179c138ac17ad9bef1177331a704",
    ),
}
each_vector = pytest.mark.parametrize(
    ("secret", "public", "message", "signature"),
    [tuple(map(bytes.fromhex, vector)) for vector in VECTORS.values()],
    ids=VECTORS,
)


@each_vector
def test_the_library_signs_as_rfc_8032_says(secret, public, message, signature):
    key = Ed25519PrivateKey.from_private_bytes(secret)

    assert public.hex() == public_hex(key)
    assert signature == key.sign(message)
    key.public_key().verify(signature, message)


@each_vector
def test_the_oracle_signs_as_rfc_8032_says(secret, public, message, signature):
    assert public == ed25519_public(secret)
    assert signature == ed25519_sign(secret, message)


@pytest.mark.parametrize("purpose", Purpose)
@each_vector
def test_a_signature_is_pure_ed25519_over_the_purpose_and_the_bytes(
    secret, public, message, signature, purpose
):
    ours = sign(Ed25519PrivateKey.from_private_bytes(secret), purpose, message)
    prefix = f"flightlog.{purpose.name.lower()}-signature/1\n".encode()

    assert ed25519_sign(secret, prefix + message) == ours
    assert ours != signature
    verify(public.hex(), purpose, message, ours)


@each_vector
def test_a_signature_without_a_purpose_is_none(secret, public, message, signature):
    for purpose in Purpose:
        with pytest.raises(SignatureError, match="signature does not fit the bytes"):
            verify(public.hex(), purpose, message, signature)


def test_a_signature_for_one_purpose_is_none_for_another():
    device = sign(key_of("mechanic"), Purpose.DEVICE, b"{}")

    with pytest.raises(SignatureError, match="the person's signature does not fit the bytes"):
        verify(public_of("mechanic"), Purpose.PERSON, b"{}", device)


def test_the_prefixes_of_purposes_can_not_run_into_the_bytes():
    """No prefix starts another one, and each ends in a sign that stands nowhere else in it."""
    prefixes = [purpose.value for purpose in Purpose]

    for prefix in prefixes:
        assert prefix.index(b"\n") == len(prefix) - 1
        assert [prefix] == [other for other in prefixes if other.startswith(prefix)]


def test_another_persons_key_does_not_fit():
    with pytest.raises(SignatureError) as caught:
        verify(
            public_of("pilot"),
            Purpose.PERSON,
            b"{}",
            sign(key_of("mechanic"), Purpose.PERSON, b"{}"),
        )

    assert f"key {public_of('pilot')[:8]}" == caught.value.where


@pytest.mark.parametrize("length", [0, 63, 65, 128])
def test_a_signature_of_another_length_is_refused(length):
    whole = sign(key_of("pilot"), Purpose.PERSON, b"{}") * 2

    with pytest.raises(SignatureError, match="does not fit"):
        verify(public_of("pilot"), Purpose.PERSON, b"{}", whole[:length])


@pytest.mark.parametrize("key", ["", "zz", "00" * 31, "00" * 33, "ff" * 32])
def test_what_is_no_key_signs_nothing(key):
    with pytest.raises(SignatureError, match="does not fit"):
        verify(key, Purpose.PERSON, b"{}", bytes(64))


def test_the_same_signature_plus_the_order_of_the_group_is_refused():
    """RFC 8032, 5.1.7: S is below L. Else a second signature could be made from the first."""
    first = sign(key_of("pilot"), Purpose.PERSON, b"{}")
    s = int.from_bytes(first[32:], "little")
    second = first[:32] + (s + L).to_bytes(32, "little")

    with pytest.raises(SignatureError, match="does not fit"):
        verify(public_of("pilot"), Purpose.PERSON, b"{}", second)


@settings(max_examples=60, deadline=None)
@given(message=st.binary(max_size=80), data=st.data())
def test_no_bit_of_bytes_or_signature_can_be_flipped(message, data):
    signature = sign(key_of("pilot"), Purpose.PERSON, message)
    both = bytearray(message + signature)
    at = data.draw(st.integers(0, 8 * len(both) - 1), label="bit")
    both[at // 8] ^= 1 << at % 8

    verify(public_of("pilot"), Purpose.PERSON, message, signature)
    with pytest.raises(SignatureError):
        verify(
            public_of("pilot"),
            Purpose.PERSON,
            bytes(both[: len(message)]),
            bytes(both[len(message) :]),
        )


def test_the_library_refuses_too_what_ours_refuses():
    """So that the verifier of an export, which is no code of ours, says the same."""
    key = key_of("pilot")
    signature = sign(key, Purpose.PERSON, b"{}")

    key.public_key().verify(signature, b"flightlog.person-signature/1\n{}")
    with pytest.raises(InvalidSignature):
        key.public_key().verify(signature, b"{}")


# --- hashes

# FIPS 180-4: the examples of one block, of no block's worth, of two blocks, and a million signs.
SHA_256 = [
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    (b"a" * 10**6, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
]


@pytest.mark.parametrize(("message", "digest"), SHA_256, ids=["abc", "nothing", "two", "million"])
def test_sha_256_is_that_of_fips_180_4(message, digest):
    assert digest == hashlib.sha256(message).hexdigest()


def test_a_fingerprint_is_the_sha_256_of_the_bytes_of_the_key():
    # 616263 is no key, but it shows that the bytes are hashed and not their digits.
    assert SHA_256[0][1] == fingerprint(b"abc".hex())


def test_the_keys_for_which_anybody_can_sign_are_those_of_the_curve():
    assert small_order_keys() == ANYBODYS_KEYS


@pytest.mark.parametrize("key", sorted(ANYBODYS_KEYS))
def test_a_key_for_which_anybody_can_sign_is_refused(key):
    # The identity as R and 0 as S fit the identity as the key, whatever the message.
    signature = bytes([1]) + bytes(63)

    with pytest.raises(SignatureError, match="anybody can sign"):
        verify(key, Purpose.PERSON, b"released", signature)
