from __future__ import annotations

import copy
import json
import pickle

import pytest

from flightlog.errors import PassphraseError, RefusedError
from flightlog.logbook.keys import KeyFolder, Passphrase, Session, Unlocked
from flightlog.logbook.signatures import Purpose, verify
from tests.logbook.hands import CHEAP, Clock
from tests.logbook.made import key_of, public_of
from tests.logbook.oracles import ed25519_sign

LIST = "before flight 12"
BODY = b'{"text":"left aileron horn looked at"}'


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def unlocked(clock):
    return Unlocked(key_of("pilot"), LIST, clock=clock.wall, ticks=clock.ticks)


def signs(unlocked: Unlocked) -> bool:
    try:
        unlocked.sign(BODY, unlocked.list_name)
    except RefusedError:
        return False
    return True


# --- signing


def test_it_signs_as_a_person_with_its_key(unlocked):
    signature = unlocked.sign(BODY, LIST)

    seed = key_of("pilot").private_bytes_raw()
    assert ed25519_sign(seed, b"flightlog.person-signature/1\n" + BODY) == signature
    verify(unlocked.key, Purpose.PERSON, BODY, signature)
    assert (public_of("pilot"), LIST) == (unlocked.key, unlocked.list_name)


@pytest.mark.parametrize(
    ("mine", "other", "message"),
    [
        (LIST, "after flight 12", r"for the list 'before flight 12', not for the list 'after fl"),
        (LIST, "", "for the list 'before flight 12', not for no list"),
        ("", LIST, "is unlocked for no list, not for the list 'before flight 12'"),
        (LIST, LIST + " ", "not for the list 'before flight 12 '"),
    ],
)
def test_it_signs_for_its_list_only(clock, mine, other, message):
    unlocked = Unlocked(key_of("pilot"), mine, clock=clock.wall, ticks=clock.ticks)

    with pytest.raises(RefusedError, match=message):
        unlocked.sign(BODY, other)
    assert signs(unlocked)


def test_key_and_list_of_an_unlock_can_not_be_changed(unlocked):
    for name in ("key", "list_name"):
        with pytest.raises(AttributeError):
            setattr(unlocked, name, "other")


# --- its end


def test_it_ends_after_ten_minutes(unlocked, clock):
    clock.pass_s(599.9)
    assert signs(unlocked)
    clock.pass_s(0.1)

    with pytest.raises(RefusedError, match=r"has ended: its 10 minutes are over\. Unlock the key"):
        unlocked.sign(BODY, LIST)
    assert 0 == unlocked.left_s


def test_it_says_how_long_it_lasts(unlocked, clock):
    assert 600 == pytest.approx(unlocked.left_s)
    clock.pass_s(450)
    assert 150 == pytest.approx(unlocked.left_s)


def test_it_ends_while_the_laptop_sleeps(unlocked, clock):
    """The clock that only counts up may stand still then."""
    clock.wall_s += 600

    with pytest.raises(RefusedError, match="its 10 minutes are over"):
        unlocked.sign(BODY, LIST)


def test_it_ends_by_the_clock_that_can_not_be_set(unlocked, clock):
    clock.pass_s(599)
    clock.wall_s -= 4  # too little to be told from a clock that is put right
    assert signs(unlocked)
    clock.pass_s(1)

    with pytest.raises(RefusedError, match="its 10 minutes are over"):
        unlocked.sign(BODY, LIST)


def test_a_clock_set_back_again_and_again_by_seconds_is_set_back(unlocked, clock):
    for _ in range(2):
        clock.pass_s(60)
        clock.wall_s -= 4
        assert signs(unlocked) == (clock.ticks_s < 5100)

    with pytest.raises(RefusedError, match="clock was set back"):
        unlocked.sign(BODY, LIST)


def test_it_ends_when_the_clock_is_set_back(unlocked, clock):
    clock.pass_s(60)
    clock.wall_s -= 5.1

    with pytest.raises(RefusedError, match="has ended: this laptop's clock was set back"):
        unlocked.sign(BODY, LIST)


def test_a_clock_that_is_put_right_by_seconds_ends_nothing(unlocked, clock):
    clock.pass_s(60)
    clock.wall_s -= 4.9

    assert signs(unlocked)


def test_a_clock_set_back_after_sleep_is_told_if_it_was_looked_at_in_between(unlocked, clock):
    clock.wall_s += 300  # asleep
    assert signs(unlocked)
    clock.wall_s -= 200

    assert not signs(unlocked)


@pytest.mark.parametrize("later", ["set right again", "set back further", "passes"])
def test_what_has_ended_does_not_begin_again(unlocked, clock, later):
    clock.wall_s -= 60
    assert not signs(unlocked)
    clock.wall_s += {"set right again": 60, "set back further": -600, "passes": 1}[later]

    assert not signs(unlocked)
    assert 0 == unlocked.left_s


def test_it_ends_when_the_laptop_is_handed_over(unlocked):
    unlocked.end()
    unlocked.end()

    with pytest.raises(RefusedError, match="has ended: it was handed over"):
        unlocked.sign(BODY, LIST)
    assert public_of("pilot") == unlocked.key


def test_it_ends_with_its_block_whatever_happens(unlocked):
    def meets_a_fault() -> float:
        with unlocked as same:
            assert same is unlocked
            assert signs(same)
            return 1 / 0

    with pytest.raises(ZeroDivisionError):
        meets_a_fault()
    assert not signs(unlocked)


def test_the_first_reason_for_its_end_is_kept(unlocked, clock):
    clock.pass_s(600)
    assert not signs(unlocked)
    unlocked.end()

    with pytest.raises(RefusedError, match="its 10 minutes are over"):
        unlocked.sign(BODY, LIST)


@pytest.mark.parametrize("end", ["end", "time"])
def test_what_has_ended_holds_no_key_any_more(unlocked, clock, end):
    if end == "end":
        unlocked.end()
    else:
        clock.pass_s(601)
        assert not signs(unlocked)

    held = [getattr(unlocked, slot) for slot in Unlocked.__slots__]
    assert not [thing for thing in held if hasattr(thing, "private_bytes_raw")]


# --- not shared


def test_it_prints_its_public_key_only(unlocked):
    assert f"<Unlocked {public_of('pilot')}>" == repr(unlocked) == str(unlocked)


@pytest.mark.parametrize("thing", ["unlocked", "session"])
def test_it_is_not_copied_or_stored(unlocked, thing):
    held = unlocked if thing == "unlocked" else Session(LIST)
    for act in (copy.copy, copy.deepcopy, pickle.dumps, type(held).__getstate__):
        with pytest.raises(RefusedError, match=f"{thing}: a secret is not copied or stored"):
            act(held)
    with pytest.raises(TypeError, match="not JSON serializable"):
        json.dumps([held])
    with pytest.raises(TypeError, match="__dict__"):
        vars(held)


# --- several persons, one list


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    folder = KeyFolder(tmp_path_factory.mktemp("keys"), cost=CHEAP)
    return folder.path, [
        folder.create(Passphrase(f"passphrase of the {role}")).key for role in ("pilot", "mechanic")
    ]


@pytest.fixture
def folder(shared, clock):
    return KeyFolder(shared[0], cost=CHEAP, clock=clock.wall, ticks=clock.ticks)


@pytest.fixture
def pilot(shared):
    return shared[1][0]


@pytest.fixture
def mechanic(shared):
    return shared[1][1]


def unlock(session: Session, folder: KeyFolder, key: str, role: str) -> Unlocked:
    return session.unlock(folder, key, Passphrase(f"passphrase of the {role}"))


def test_nobody_is_present_at_first(pilot):
    session = Session(LIST)

    assert session.present is None
    assert session.of(pilot) is None
    assert () == session.unlocks
    session.hand_over()
    session.end()


def test_two_persons_can_sign_for_one_list(folder, pilot, mechanic):
    session = Session(LIST)
    one = unlock(session, folder, pilot, "pilot")
    other = unlock(session, folder, mechanic, "mechanic")

    assert (one, other) == session.unlocks
    assert other is session.present
    assert (one, other) == (session.of(pilot), session.of(mechanic))
    assert [LIST, LIST] == [one.list_name, other.list_name]
    for unlocked in (one, other):
        verify(unlocked.key, Purpose.PERSON, BODY, unlocked.sign(BODY, LIST))


def test_handing_over_ends_the_last_and_the_one_before_is_present(folder, pilot, mechanic):
    session = Session(LIST)
    one = unlock(session, folder, pilot, "pilot")
    other = unlock(session, folder, mechanic, "mechanic")

    session.hand_over()
    assert not signs(other)
    assert one is session.present
    assert session.of(mechanic) is None
    session.hand_over()
    assert not signs(one)
    assert session.present is None


def test_the_end_of_a_list_ends_all(folder, pilot, mechanic):
    with Session(LIST) as session:
        both = (
            unlock(session, folder, pilot, "pilot"),
            unlock(session, folder, mechanic, "mechanic"),
        )

    assert [False, False] == [signs(unlocked) for unlocked in both]
    assert session.present is None


def test_who_is_out_of_time_is_not_present(folder, clock, pilot, mechanic):
    session = Session(LIST)
    unlock(session, folder, pilot, "pilot")
    clock.pass_s(300)
    other = unlock(session, folder, mechanic, "mechanic")
    clock.pass_s(300)

    assert (other,) == session.unlocks
    clock.pass_s(300)
    assert session.present is None


def test_a_key_that_is_unlocked_again_has_one_unlock(folder, clock, pilot):
    session = Session(LIST)
    first = unlock(session, folder, pilot, "pilot")
    clock.pass_s(300)
    second = unlock(session, folder, pilot, "pilot")

    assert not signs(first)
    assert (second,) == session.unlocks
    assert 600 == pytest.approx(second.left_s)


def test_a_wrong_passphrase_ends_nothing_that_is_unlocked(folder, pilot, mechanic):
    session = Session(LIST)
    one = unlock(session, folder, pilot, "pilot")
    with pytest.raises(PassphraseError, match="does not open this key"):
        unlock(session, folder, mechanic, "pilot")

    assert one is session.present


def test_a_session_prints_its_list_only():
    assert f"<Session '{LIST}'>" == repr(Session(LIST))
    assert LIST == Session(LIST).list_name
