from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest

from flightlog.errors import KeyFileError, PassphraseError, UsageError
from flightlog.logbook import keys, tries
from flightlog.logbook.codes import code
from flightlog.logbook.keyfile import read_key
from flightlog.logbook.keys import Cost, KeyFolder, Passphrase
from flightlog.logbook.signatures import Purpose, fingerprint, verify
from tests.logbook.hands import CHEAP, Clock, known
from tests.logbook.made import key_of, public_of

RIGHT = Passphrase("dry hay under the eaves")
WRONG = Passphrase("wet hay under the eaves")


@pytest.fixture(autouse=True)
def _anew():
    tries._KEPT.clear()


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def folder(tmp_path, clock):
    return KeyFolder(tmp_path / "keys", cost=CHEAP, clock=clock.wall, ticks=clock.ticks)


def add(folder: KeyFolder, name: str, passphrase: Passphrase = RIGHT) -> str:
    """Put the key of a name into a folder."""
    seed = key_of(name).private_bytes_raw()
    made = KeyFolder(folder.path, cost=CHEAP, randomness=known(seed, name)).create(passphrase)
    assert public_of(name) == made.key
    return made.key


# --- making


def test_a_new_key_is_what_its_file_says(folder):
    made = folder.create(RIGHT)

    assert folder.path / f"{made.key[:16]}.key.json" == made.path
    assert code(fingerprint(made.key)) == made.code
    assert "" == made.problem
    assert CHEAP == read_key(made.path).cost
    assert (made,) == folder.list()
    assert [made.path] == list(folder.path.iterdir())


def test_every_new_key_is_another(folder):
    assert folder.create(RIGHT).key != folder.create(RIGHT).key


def test_the_seed_is_the_first_of_the_randomness(folder):
    assert public_of("pilot") == add(folder, "pilot")


def test_salt_and_nonce_are_no_part_of_the_seed(folder):
    asked = []

    def noted(length: int) -> bytes:
        asked.append(os.urandom(length))
        return asked[-1]

    made = KeyFolder(folder.path, cost=CHEAP, randomness=noted).create(RIGHT)
    sealed = read_key(made.path)

    assert [32, 32, 12] == [len(given) for given in asked]
    assert [sealed.salt, sealed.nonce] == asked[1:]


@pytest.mark.parametrize("text", ["", "1234567", "  1234567 "])
def test_a_short_passphrase_protects_no_key(folder, text):
    with pytest.raises(UsageError, match="the passphrase has fewer than 8 characters"):
        folder.create(Passphrase(text))
    assert not folder.path.exists()


def test_a_key_is_not_written_over(folder):
    add(folder, "pilot")
    before = next(folder.path.iterdir()).read_bytes()

    with pytest.raises(KeyFileError, match="of this name is there already and is not written over"):
        add(folder, "pilot", WRONG)
    assert before == next(folder.path.iterdir()).read_bytes()


def test_a_folder_that_can_not_be_written_is_told(tmp_path, folder):
    (tmp_path / "keys").write_bytes(b"a file")

    with pytest.raises(KeyFileError, match="the key file can't be written"):
        folder.create(RIGHT)


def test_a_full_disk_leaves_no_part_of_a_key(folder, monkeypatch):
    def full(_fd):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(KeyFileError, match=r"can't be written \(No space left.*Free some space"):
        folder.create(RIGHT)
    assert [] == list(folder.path.iterdir())


def test_a_cost_out_of_bounds_makes_no_key(tmp_path):
    with pytest.raises(KeyFileError, match="scrypt's n is 1000"):
        KeyFolder(tmp_path / "keys", cost=Cost(n=1000)).create(RIGHT)
    assert not (tmp_path / "keys").exists()


# --- never in a team folder

REFUSED = "a private key is never kept in the team folder"


@pytest.fixture
def team(tmp_path):
    team = tmp_path / "team"
    (team / "logbook").mkdir(parents=True)
    return team


@pytest.mark.parametrize(
    "inside", [".", "keys", "logbook", "logbook/attachments/keys", "../team/x"]
)
def test_no_key_is_made_in_the_team_folder(team, inside):
    with pytest.raises(KeyFileError, match=REFUSED) as caught:
        KeyFolder(team / inside, cost=CHEAP, not_in=[team]).create(RIGHT)

    assert str(team / inside) == caught.value.where
    assert "such as one on a memory stick" in caught.value.fix
    assert [team / "logbook"] == list(team.iterdir())


def test_no_key_is_made_in_a_folder_that_holds_the_team_folder(team):
    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(team.parent, cost=CHEAP, not_in=[team / "logbook"]).create(RIGHT)


@pytest.mark.parametrize("beside", ["team keys", "team2", "keys"])
def test_a_key_is_made_beside_the_team_folder(team, beside):
    made = KeyFolder(team.parent / beside, cost=CHEAP, not_in=[team]).create(RIGHT)

    assert made.path.exists()


def test_each_of_several_team_folders_counts(tmp_path):
    teams = [tmp_path / "a", tmp_path / "b"]

    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(tmp_path / "b" / "keys", cost=CHEAP, not_in=teams).create(RIGHT)


@pytest.mark.parametrize("mark", ["team.toml", "logbook/record.sqlite", "record.sqlite"])
@pytest.mark.parametrize("inside", [".", "keys", "deep/in/it/keys"])
def test_a_team_folder_is_known_by_what_is_in_it(team, mark, inside):
    (team / mark).write_bytes(b"")

    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(team / inside, cost=CHEAP).create(RIGHT)


def linked(link: Path, target: Path) -> Path:
    try:
        link.symlink_to(target, target_is_directory=True)
    except OSError:
        pytest.skip("this user may make no links here")
    return link


def test_a_link_deep_into_the_team_folder_is_followed(team, tmp_path):
    link = linked(tmp_path / "keys", team / "logbook")

    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(link, cost=CHEAP, not_in=[team]).create(RIGHT)
    assert [] == list((team / "logbook").iterdir())


def test_a_link_into_the_team_folder_is_followed(team, tmp_path):
    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(linked(tmp_path / "keys", team), cost=CHEAP, not_in=[team]).create(RIGHT)
    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(tmp_path / "keys" / "deeper", cost=CHEAP, not_in=[team]).create(RIGHT)


def test_a_link_to_the_team_folder_is_followed(team, tmp_path):
    link = linked(tmp_path / "link", team)

    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(team / "keys", cost=CHEAP, not_in=[link]).create(RIGHT)


def test_a_link_in_the_team_folder_is_no_way_out(team, tmp_path):
    """Who copies the team folder may follow the links in it."""
    (tmp_path / "stick").mkdir()
    link = linked(team / "keys", tmp_path / "stick")

    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(link, cost=CHEAP, not_in=[team]).create(RIGHT)
    assert [] == list((tmp_path / "stick").iterdir())


def test_the_same_folder_by_another_name_is_the_same(team, monkeypatch):
    """As on a system that does not tell capitals; here any two paths are one folder."""
    other = team.parent / "TEAM"
    monkeypatch.setattr(Path, "samefile", lambda a, b: {a, b} == {other, team})

    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(other / "keys", cost=CHEAP, not_in=[team]).create(RIGHT)


def test_a_key_that_was_put_into_a_team_folder_is_not_used(folder, team):
    key = add(folder, "pilot")
    shutil.copytree(folder.path, team / "keys")
    inside = KeyFolder(team / "keys", cost=CHEAP, not_in=[team])

    assert [key] == [info.key for info in inside.list()]
    with pytest.raises(KeyFileError, match=REFUSED):
        inside.unlock(key, RIGHT)
    with pytest.raises(KeyFileError, match=REFUSED):
        inside.change_passphrase(key, RIGHT, WRONG)


def test_a_key_that_is_reached_through_a_team_folder_is_not_used(folder, team):
    key = add(folder, "pilot")

    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(linked(team / "keys", folder.path), cost=CHEAP, not_in=[team]).unlock(key, RIGHT)


def test_a_key_file_that_is_a_link_into_a_team_folder_is_not_used(folder, team):
    key = add(folder, "pilot")
    file = next(folder.path.iterdir())
    linked_to = team / "logbook" / "x"
    file.rename(linked_to)
    linked(file, linked_to)

    with pytest.raises(KeyFileError, match=REFUSED):
        KeyFolder(folder.path, cost=CHEAP, not_in=[team]).unlock(key, RIGHT)


# --- what is there


def test_a_folder_that_is_not_there_holds_no_keys(folder):
    assert () == folder.list()
    assert not folder.path.exists()


def test_a_file_is_no_folder_of_keys(tmp_path, folder):
    (tmp_path / "keys").write_bytes(b"")

    with pytest.raises(KeyFileError, match="the folder of keys can't be read"):
        folder.list()


def test_damaged_files_are_listed_with_what_is_wrong(folder):
    add(folder, "pilot")
    whole = add(folder, "mechanic")
    file = folder.path / f"{public_of('pilot')[:16]}.key.json"
    file.write_bytes(file.read_bytes()[:-1])
    (folder.path / "aaaaaaaaaaaaaaaa.key.json").mkdir()

    listed = {info.path.name[:16]: info for info in folder.list()}
    assert {"aaaaaaaaaaaaaaaa", public_of("pilot")[:16], whole[:16]} == set(listed)
    assert "no ordinary file" in listed["aaaaaaaaaaaaaaaa"].problem
    assert "it is not JSON" in listed[public_of("pilot")[:16]].problem
    assert ("", "") == (listed[public_of("pilot")[:16]].key, listed[public_of("pilot")[:16]].code)
    assert (whole, "") == (listed[whole[:16]].key, listed[whole[:16]].problem)


def test_a_key_file_under_another_name_is_listed_as_such(folder):
    key = add(folder, "pilot")
    file = next(folder.path.iterdir())
    shutil.copy(file, folder.path / f"{key[:16]} (copy).key.json")
    shutil.copy(file, folder.path / f"{key[:15]}x.key.json")

    problems = [info.problem for info in folder.list()]
    assert 1 == problems.count("")
    assert 2 == problems.count("its name is not the start of the key in it")


def test_other_files_are_no_keys(folder):
    add(folder, "pilot")
    for name in (f"._{public_of('pilot')[:16]}.key.json", "notes.txt", "a.tries.json", ".x.part"):
        (folder.path / name).write_bytes(b"")

    assert [public_of("pilot")] == [info.key for info in folder.list()]


def test_a_folder_with_very_many_key_files_is_refused(folder, monkeypatch):
    monkeypatch.setattr(keys, "_MOST_KEYS", 1)
    add(folder, "pilot")
    assert 1 == len(folder.list())
    add(folder, "mechanic")

    with pytest.raises(KeyFileError, match="there are more than 1 key files"):
        folder.list()


@pytest.fixture
def crew(folder):
    for name in ("pilot", "mechanic", "observer"):
        add(folder, name)
    return folder


@pytest.mark.parametrize("name", ["pilot", "mechanic", "observer"])
def test_a_key_is_found_by_the_start_of_its_digits_or_its_code(crew, name):
    key = public_of(name)
    printed = code(fingerprint(key))
    typed = printed.lower().replace("0", "o").replace("1", "l")

    for text in (
        key,
        key[:8],
        key[:8].upper(),
        printed,
        printed[:11],
        typed,
        typed[:9],
        f" {typed}",
    ):
        assert key == crew.find(text).key


def test_the_only_key_is_found_without_a_word(folder):
    key = add(folder, "pilot")

    assert key == folder.find("").key


def test_several_keys_are_told_apart_in_the_message(crew):
    with pytest.raises(KeyFileError, match="3 keys here start with ''") as caught:
        crew.find("")

    for name in ("pilot", "mechanic", "observer"):
        key = public_of(name)
        assert f"{code(fingerprint(key))[:11]}… (key {key[:8]}…)" in caught.value.fix


def test_a_key_that_is_not_there_is_told_with_those_that_are(crew):
    with pytest.raises(KeyFileError, match="no key here starts with 'zzzz'") as caught:
        crew.find("zzzz")
    assert 3 == caught.value.fix.count("(key ")

    assert str(crew.path) == caught.value.where


def test_without_any_key_the_message_says_so(folder):
    with pytest.raises(KeyFileError, match="There is no key in this folder"):
        folder.find("")


def test_a_damaged_key_is_not_found(folder):
    key = add(folder, "pilot")
    next(folder.path.iterdir()).write_bytes(b"")

    with pytest.raises(KeyFileError, match="no key here starts with"):
        folder.find(key)


# --- unlocking


def test_an_unlocked_key_signs_for_its_list(folder):
    key = add(folder, "pilot")
    unlocked = folder.unlock(key, RIGHT, "before flight 12")

    assert (key, "before flight 12") == (unlocked.key, unlocked.list_name)
    verify(key, Purpose.PERSON, b"{}", unlocked.sign(b"{}", "before flight 12"))


def test_the_clocks_of_the_folder_are_those_of_the_unlock(folder, clock):
    unlocked = folder.unlock(add(folder, "pilot"), RIGHT)
    clock.pass_s(599)

    assert 1 == pytest.approx(unlocked.left_s)


def test_one_unlock_ends_no_other(folder):
    one = folder.unlock(add(folder, "pilot"), RIGHT)
    other = folder.unlock(add(folder, "mechanic"), RIGHT)

    for unlocked in (one, other):
        verify(unlocked.key, Purpose.PERSON, b"{}", unlocked.sign(b"{}"))


@pytest.mark.parametrize("key", ["", "00", "AB" * 32, "../" * 21 + "a", public_of("pilot") + "\n"])
def test_what_is_no_public_key_names_no_file(folder, key):
    with pytest.raises(KeyFileError, match="is no public key"):
        folder.unlock(key, RIGHT)


def test_a_key_that_is_not_there_is_not_unlocked(folder):
    with pytest.raises(KeyFileError, match="there is no such key file"):
        folder.unlock(public_of("pilot"), RIGHT)


def test_another_key_with_the_same_start_is_not_unlocked(folder):
    key = add(folder, "pilot")

    with pytest.raises(KeyFileError, match=r"the file holds the key .*, not "):
        folder.unlock(key[:16] + "0" * 48, RIGHT)


def test_the_wait_comes_with_the_second_failure_and_ends(folder, clock):
    key = add(folder, "pilot")
    with pytest.raises(PassphraseError, match=r"does not open this key\. Type it again"):
        folder.unlock(key, WRONG)
    for wait_s in (1, 2, 4, 8, 16, 32, 60, 60):
        with pytest.raises(PassphraseError, match=rf"does not open this key\. Wait {wait_s} s\."):
            folder.unlock(key, WRONG)
        with pytest.raises(PassphraseError, match=f"wait {wait_s} s: the last passphrases"):
            folder.unlock(key, RIGHT)
        clock.pass_s(wait_s)

    assert key == folder.unlock(key, RIGHT).key


def test_during_the_wait_no_passphrase_is_tried(folder, clock, monkeypatch):
    key = add(folder, "pilot")
    for _ in range(2):
        with pytest.raises(PassphraseError):
            folder.unlock(key, WRONG)
    monkeypatch.setattr(keys.SealedKey, "open", lambda *_: pytest.fail("it was tried"))

    with pytest.raises(PassphraseError, match="wait 1 s"):
        folder.unlock(key, RIGHT)


def test_the_wait_holds_for_another_program_and_for_changing_the_passphrase(folder, clock):
    key = add(folder, "pilot")
    for _ in range(2):
        with pytest.raises(PassphraseError):
            folder.unlock(key, WRONG)
    anew = KeyFolder(folder.path, cost=CHEAP, clock=clock.wall, ticks=clock.ticks)

    with pytest.raises(PassphraseError, match="wait 1 s"):
        anew.unlock(key, RIGHT)
    with pytest.raises(PassphraseError, match="wait 1 s"):
        anew.change_passphrase(key, RIGHT, WRONG)


def test_a_right_passphrase_takes_the_count_away(folder):
    key = add(folder, "pilot")
    with pytest.raises(PassphraseError):
        folder.unlock(key, WRONG)
    assert 2 == len(list(folder.path.iterdir()))
    folder.unlock(key, RIGHT)

    assert [f"{key[:16]}.key.json"] == [path.name for path in folder.path.iterdir()]


def test_each_key_has_its_own_wait(folder):
    pilot, mechanic = add(folder, "pilot"), add(folder, "mechanic")
    for _ in range(2):
        with pytest.raises(PassphraseError):
            folder.unlock(pilot, WRONG)

    assert mechanic == folder.unlock(mechanic, RIGHT).key


# --- another passphrase


def test_a_key_is_put_under_another_passphrase(folder):
    key = add(folder, "pilot", RIGHT)
    folder.change_passphrase(key, RIGHT, WRONG)

    assert key == folder.unlock(key, WRONG).key
    with pytest.raises(PassphraseError):
        folder.unlock(key, RIGHT)
    assert 1 == len(folder.list())


def test_another_passphrase_comes_with_another_salt_and_the_cost_of_now(folder):
    key = add(folder, "pilot")
    before = read_key(folder.list()[0].path)
    KeyFolder(folder.path, cost=Cost(n=2**11)).change_passphrase(key, RIGHT, RIGHT)
    after = read_key(folder.list()[0].path)

    assert (CHEAP, Cost(n=2**11)) == (before.cost, after.cost)
    assert before.salt != after.salt
    assert before.nonce != after.nonce


def test_a_wrong_old_passphrase_changes_nothing(folder):
    key = add(folder, "pilot")
    before = folder.list()[0].path.read_bytes()

    with pytest.raises(PassphraseError, match="does not open"):
        folder.change_passphrase(key, WRONG, RIGHT)
    assert before == folder.list()[0].path.read_bytes()


def test_a_short_new_passphrase_changes_nothing(folder):
    key = add(folder, "pilot")

    with pytest.raises(UsageError, match="fewer than 8 characters"):
        folder.change_passphrase(key, RIGHT, Passphrase("short"))
    assert key == folder.unlock(key, RIGHT).key


def test_a_disk_that_is_full_leaves_the_old_passphrase(folder, monkeypatch):
    key = add(folder, "pilot")

    def full(*_args):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", full)
        with pytest.raises(KeyFileError, match="the key file can't be written"):
            folder.change_passphrase(key, RIGHT, WRONG)
    assert key == folder.unlock(key, RIGHT).key


def test_a_folder_prints_its_path(folder):
    assert f"<KeyFolder {str(folder.path)!r}>" == repr(folder)
