"""Revisions of the priors: sealed files, decisions that are never lost, and numbers laid over a knowledge file."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.errors import RevisionError, UnknownName
from faultodds.files import id_in
from faultodds.revisions import beside, decisions as accepted, shelf as revisions
from faultodds.revisions.decisions import FILE, Decision, history, revision_path, rollback, standing
from faultodds.revisions.revision import LogSource, Number, Revision, as_text, from_bytes, read
from faultodds.revisions.shelf import accept, differences, drop, find_id, propose, shelved
from run_cli import write_toy

DEAD = "component/pump/modes/dead/share"
WEAK = "component/pump/modes/weak/share"
LINK = "check/fuse_test/links/fuse.open/open"
LOG = LogSource("harbour_lane", "ab" * 32, 300, "2022-01-03", "2022-12-30")
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


@pytest.fixture(autouse=True)
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data folder of this test alone."""
    folder = tmp_path / "data"
    monkeypatch.setenv("FAULTODDS_DATA", str(folder))
    monkeypatch.setenv("FAULTODDS_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("TZ", "UTC")
    return folder


@pytest.fixture
def file(tmp_path: Path) -> str:
    """The toy as a knowledge file, by path."""
    return str(write_toy(tmp_path / "my_toy.toml"))


def proposed(file: str, dead: float = 20.0, weak: float = 25.0, **more: float) -> Revision:
    """A revision that moves ten in a hundred calls from one fault of the pump to the other."""
    ready = open_appliance(file, revision=FILE)
    numbers = {DEAD: Number(dead, 30.0, 15.0, 26.0, 61.5), WEAK: Number(weak, 15.0, 19.0, 31.0, 77.0)}
    numbers |= {path: Number(value) for path, value in more.items()}
    return propose("toy", ready.fingerprint, LOG, numbers, {"worth": "auto"}, ("a note",), lambda: NOON)


def share(appliance: Appliance, mode: str) -> float:
    """A main cause's share as compiled."""
    return float(appliance.suspects.share[appliance.suspects.mains.index(mode)])


# --- opening with and without ---


def test_nothing_changes_until_a_revision_is_accepted(file: str) -> None:
    """A proposed revision is not used; an accepted one is, under its own name."""
    made = proposed(file)
    assert open_appliance(file).revision == FILE
    assert share(open_appliance(file), "pump.dead") == pytest.approx(0.30)
    accept("toy", made.id, open_appliance(file).fingerprint)
    opened = open_appliance(file)
    assert opened.revision == made.id == "2026-11-25-a"
    assert share(opened, "pump.dead") == pytest.approx(0.20)
    assert opened.knowledge.component["pump"].modes["dead"].share == 20.0


def test_a_revision_or_the_file_can_be_chosen_by_name(file: str) -> None:
    """`revision` names one for this once, whatever is accepted, by as little of its id as will do."""
    a, b = proposed(file), proposed(file, dead=10.0, weak=35.0)
    accept("toy", a.id, open_appliance(file).fingerprint)
    assert [open_appliance(file, revision=r).revision for r in (None, "b", "file", "11-25-b")] == [
        a.id,
        b.id,
        FILE,
        b.id,
    ]
    assert share(open_appliance(file, revision="b"), "pump.dead") == pytest.approx(0.10)
    assert share(open_appliance(file, revision="file"), "pump.dead") == pytest.approx(0.30)


def test_the_cache_never_mixes_revisions(file: str) -> None:
    """Opened again from the cache, each revision is to the bit what it was when compiled."""
    made = proposed(file)
    fresh = {r: open_appliance(file, revision=r) for r in (FILE, made.id)}
    for name in (FILE, made.id, FILE):
        again = open_appliance(file, revision=name)
        assert again.revision == name
        assert np.array_equal(again.suspects.share, fresh[name].suspects.share)
        assert again.knowledge == fresh[name].knowledge
    assert not np.array_equal(fresh[FILE].suspects.share, fresh[made.id].suspects.share)


def test_a_revision_holds_for_every_file_with_that_id(file: str, tmp_path: Path) -> None:
    """What counts is the id inside the file, however it is written, not the file's name or place."""
    made = proposed(file)
    accept("toy", made.id, open_appliance(file).fingerprint)
    copy = tmp_path / "elsewhere.toml"
    copy.write_bytes(Path(file).read_bytes())
    assert open_appliance(str(copy)).revision == made.id
    other = write_toy(tmp_path / "other.toml", appliance={"id": "other", "title": "Toy", "format": 1, "calls": "calls"})
    assert open_appliance(str(other)).revision == FILE


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ('[appliance]\nid = "gas_dryer"\n', "gas_dryer"),
        ('# [appliance]\n[costs]\nid = "no"\n[appliance]\ntitle = "t"\nid    =   "yes"\n', "yes"),
        ('appliance = { "title" = "[x]", "id" = "inline" }\n', "inline"),
        ('appliance.id = "dotted"\n', "dotted"),
        ("[appliance]\ntitle = \"[odd]\"\nid = 'single'\n", "single"),
        ("[appliance]\ntitle = 'x'\n", ""),
        ("not TOML at all [", ""),
    ],
)
def test_the_id_is_found_in_whatever_way_it_is_written(text: str, wanted: str) -> None:
    """The quick way and TOML's own give the same id."""
    assert id_in(text.encode()) == wanted


def test_learned_numbers_reach_links_and_a_later_edit_of_the_file_is_said(file: str, tmp_path: Path) -> None:
    """A revision stands over an edit made after it was learned, and the appliance lists which numbers that are."""
    ready = open_appliance(file)
    numbers = {LINK: Number(0.7, 0.98), DEAD: Number(20.0, 30.0), WEAK: Number(25.0, 15.0)}
    made = propose("toy", ready.fingerprint, LOG, numbers, clock=lambda: NOON)
    accept("toy", made.id, ready.fingerprint)
    assert open_appliance(file).overruled == ()
    assert open_appliance(file).suspects.likelihood[ready.suspects.rows["fuse_test"]].max() < 1
    text = Path(file).read_text().replace('"fuse.open" = 0.98', '"fuse.open" = 0.9')
    assert text != Path(file).read_text()
    Path(file).write_text(text)
    opened = open_appliance(file)
    assert opened.overruled == (LINK,)
    assert opened.knowledge.check["fuse_test"].links["fuse.open"] == {"open": 0.7}
    assert open_appliance(file).overruled == (LINK,)  # from the cache as well


# --- the file ---


def test_a_revision_file_comes_back_as_it_went_in(file: str) -> None:
    """Every number to the last bit, and the provenance."""
    made = proposed(file, dead=20.000000000000004)
    assert read(revision_path("toy", made.id)) == made
    assert made.log == LOG
    assert made.notes == ("a note",)


@given(
    st.dictionaries(st.text(max_size=12), st.floats(0, 1e9, allow_subnormal=True), max_size=5),
    st.lists(st.text(max_size=30), max_size=3),
    st.dictionaries(st.text(max_size=8), st.one_of(st.integers(-(2**60), 2**60), st.booleans(), st.text(max_size=9))),
)
def test_any_text_and_number_survives_the_file(
    numbers: dict[str, float], notes: list[str], settings: dict[str, int | bool | str]
) -> None:
    """Quotes, control characters and odd letters in names and notes cannot break the file."""
    plain = {name: Number(value, jobs=value) for name, value in numbers.items()}
    made = Revision("x", "toy", "f", NOON, LOG, plain, dict(settings), tuple(notes))
    assert from_bytes(as_text(made).encode(), Path("x.toml")) == made


def test_a_damaged_revision_is_set_aside_and_nothing_else_is_used(file: str) -> None:
    """Wherever a byte is turned over or the file is cut, the file's own numbers are used, that is said with the way out; whoever
    asks for the damaged one is refused."""
    made = proposed(file)
    accept("toy", made.id, open_appliance(file, revision=FILE).fingerprint)
    path = revision_path("toy", made.id)
    open_appliance(file)  # a warm cache changes nothing
    whole = path.read_bytes()
    for data in (
        b"",
        whole[:-1],
        whole[: len(whole) // 2],
        whole.replace(b"20.0", b"29.0"),
        whole.replace(b"sha256", b"sha257", 1),
        *(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :] for at in range(0, len(whole), 41)),
    ):
        path.write_bytes(data)
        ready = open_appliance(file)
        assert ready.revision == FILE
        assert ready.knowledge == open_appliance(file, revision=FILE).knowledge
        assert re.search(r"2026-11-25-a is damaged or was edited .*set aside.*revision rollback", ready.doubt)
        with pytest.raises(RevisionError, match=r"damaged or was edited .*--revision file"):
            open_appliance(file, revision="a")
    path.unlink()
    assert re.search(r"2026-11-25-a: .* is not there\. It was set aside", open_appliance(file).doubt)
    rollback("toy")
    assert open_appliance(file).revision == FILE


def test_a_revision_that_no_longer_fits_the_file_is_set_aside(file: str) -> None:
    """Names that the knowledge file has lost since are told of with the way out, not guessed at."""
    made = proposed(file, **{"check/listen/links/pump.weak/weak": 0.5})
    accept("toy", made.id, open_appliance(file, revision=FILE).fingerprint)
    Path(file).write_text(
        Path(file).read_text().replace('"weak" = { "title"', '"feeble" = { "title"').replace("pump.weak", "pump.feeble")
    )
    ready = open_appliance(file)
    assert re.search(r"does not fit the knowledge file as it is now: .*weak.*faultodds tune", ready.doubt)
    assert ready.revision == FILE


def test_a_full_or_closed_folder_keeps_nothing(file: str, data: Path) -> None:
    """When the folder cannot be made, the message says where to put revisions instead."""
    open_appliance(file)
    data.write_text("a file where the folder should be")
    with pytest.raises(RevisionError, match=r"cannot be written .* set FAULTODDS_DATA to a folder of yours"):
        propose("toy", "f", LOG, {DEAD: Number(1.0)})
    assert data.read_text() == "a file where the folder should be"


def test_a_number_that_is_none_is_never_written(file: str, data: Path) -> None:
    """NaN from learning stops the revision, not a later call."""
    with pytest.raises(RevisionError, match=f"no number for {DEAD}"):
        propose("toy", "f", LOG, {DEAD: Number(float("nan"))})
    assert not data.exists()


# --- ids ---


def test_ids_are_the_day_and_a_letter_and_sort_by_age(file: str) -> None:
    """a to z, then aa; the list has the newest first."""
    made = [propose("toy", "f", LOG, {DEAD: Number(1.0)}, clock=lambda: NOON).id for _ in range(28)]
    assert made[:2] + made[24:] == [f"2026-11-25-{x}" for x in ("a", "b", "y", "z", "aa", "ab")]
    assert [each.id for each in shelved("toy")] == made[::-1]


def test_an_unknown_or_ambiguous_id_is_an_error_with_the_nearest(file: str) -> None:
    """Abbreviations work while they are unique."""
    made = [proposed(file).id for _ in range(2)]
    assert find_id("toy", "a") == made[0]
    assert find_id("toy", "25-b") == made[1]
    with pytest.raises(UnknownName, match=r"'2026-11' fits more than one revision: '2026-11-25-a', '2026-11-25-b'"):
        find_id("toy", "2026-11")
    with pytest.raises(
        UnknownName, match=r"no revision called '2026-11-26-a'\. Did you mean '2026-11-25-a'\?.*revision list"
    ):
        find_id("toy", "2026-11-26-a")
    with pytest.raises(UnknownName, match="'toy' has one of that name: add --appliance toy"):
        find_id("other", "2026-11-25-a")


# --- accepting and going back ---


def test_rollback_goes_back_step_by_step_and_nothing_is_deleted(file: str) -> None:
    """a, b, back to a, back to the file; every decision and both files are still there."""
    a, b = proposed(file).id, proposed(file, dead=10.0, weak=35.0).id
    mark = open_appliance(file, revision=FILE).fingerprint
    assert accept("toy", "a", mark) == (a, FILE)
    assert accept("toy", "b", mark) == (b, a)
    assert rollback("toy") == (b, a)
    assert open_appliance(file).revision == a
    assert rollback("toy") == (a, FILE)
    with pytest.raises(RevisionError, match="no revision of toy is accepted, so there is nothing to roll back"):
        rollback("toy")
    assert [(d.action, d.revision) for d in history("toy")] == [
        ("accept", a), ("accept", b), ("rollback", b), ("rollback", a),
    ]  # fmt: skip
    assert {each.id: each.status for each in shelved("toy")} == {b: "accepted before", a: "accepted before"}


def test_the_file_can_be_accepted_and_that_rolled_back(file: str) -> None:
    """Accepting "file" goes back to the file's own numbers without forgetting what stood."""
    made = proposed(file)
    accept("toy", made.id, made.fingerprint)
    assert accept("toy", "file", made.fingerprint) == (FILE, made.id)
    assert open_appliance(file).revision == FILE
    assert rollback("toy") == (FILE, made.id)


def test_accepting_after_the_file_changed_needs_a_word_more(file: str) -> None:
    """Another fingerprint is refused with both ways on; `anyway` is one of them."""
    made = proposed(file)
    Path(file).write_text(Path(file).read_text().replace('"labour_rate" = 60', '"labour_rate" = 61'))
    mark = open_appliance(file).fingerprint
    assert mark != made.fingerprint
    with pytest.raises(
        RevisionError, match=r"has changed since revision 2026-11-25-a was learned .* accept 2026-11-25-a --anyway"
    ):
        accept("toy", made.id, mark)
    assert accepted.accepted("toy") == FILE
    accept("toy", made.id, mark, anyway=True)
    assert open_appliance(file).revision == made.id


def test_a_damaged_revision_cannot_be_accepted(file: str) -> None:
    """Accepting reads the whole file first."""
    made = proposed(file)
    path = revision_path("toy", made.id)
    path.write_bytes(path.read_bytes()[:-9])
    with pytest.raises(RevisionError, match="is damaged or was edited"):
        accept("toy", made.id, made.fingerprint)
    assert history("toy") == ()
    assert [each.status for each in shelved("toy")] == ["damaged"]


@pytest.mark.parametrize(
    "line", ['{"at": "2026', "rubbish", '{"at": "x", "action": "eat", "revision": "a"}', "[]", "\x00\x00"]
)
def test_a_damaged_history_is_said_until_one_is_accepted(file: str, line: str) -> None:
    """What stands is not known then: the file's own numbers are used and every answer says so; accepting one is the way out."""
    made = proposed(file)
    accept("toy", made.id, made.fingerprint)
    path = accepted.shelf("toy") / accepted.HISTORY
    path.write_text(path.read_text() + line)
    opened = open_appliance(file)
    assert opened.revision == FILE
    assert re.search(r"not known: .* is damaged \(line 2\).*faultodds revision accept ID", opened.doubt)
    assert open_appliance(file, revision=made.id).doubt == ""
    with pytest.raises(RevisionError, match=r"is damaged \(line 2\)"):
        rollback("toy")
    assert [each.status for each in shelved("toy")] == ["accepted before"]
    accept("toy", made.id, made.fingerprint)
    opened = open_appliance(file)
    assert (opened.revision, opened.doubt) == (made.id, "")
    assert [d.action for d in history("toy")] == ["accept", "damaged", "accept"]
    assert path.read_text().splitlines()[1] == line


def test_a_history_that_cannot_be_read_is_said_too(file: str) -> None:
    """A folder in its place, or a file that is closed: named with the reason; accepting puts it aside."""
    made = proposed(file)
    (accepted.shelf("toy") / accepted.HISTORY).mkdir()
    assert "cannot be read: Is a directory" in open_appliance(file).doubt
    accept("toy", made.id, made.fingerprint)
    opened = open_appliance(file)
    assert (opened.revision, opened.doubt) == (made.id, "")
    assert list(accepted.shelf("toy").glob("history.unreadable-*"))


@given(
    st.lists(
        st.sampled_from(["accept a", "accept b", "accept file", "drop a", "drop b", "rollback", "damage"]), max_size=12
    )
)
def test_whatever_is_decided_changes_what_stands_or_is_refused(did: list[str]) -> None:
    """The law of decisions: an accept that is taken changes what stands and a rollback brings back what stood before it; what would
    change nothing is refused; what is dropped is never come back to, and what is in use is not dropped; after damage the file's
    own numbers stand until the next accept, whatever came before."""
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTODDS_DATA", folder)
        before: list[str] = []  # what stood, as a person would keep the book
        for each in did:
            if each == "damage":
                accepted.shelf("toy").mkdir(parents=True, exist_ok=True)
                with (accepted.shelf("toy") / accepted.HISTORY).open("a") as handle:
                    handle.write('{"at":')
                before = []
            elif each == "rollback":
                if not before:
                    with pytest.raises(RevisionError):
                        rollback("toy")
                    continue
                left, now_in_use = rollback("toy")
                assert left == before.pop()
                assert left != now_in_use or left == FILE
            elif each.startswith("drop "):
                if each.removeprefix("drop ") == (before or [FILE])[-1]:
                    with pytest.raises(RevisionError, match="is in use"):
                        accepted.drop("toy", each.removeprefix("drop "))
                    continue
                accepted.shelf("toy").mkdir(parents=True, exist_ok=True)
                accepted.drop("toy", each.removeprefix("drop "))
                before = [n for n in before if n != each.removeprefix("drop ")]
                before = [n for at, n in enumerate(before) if not at or n != before[at - 1]]
            else:
                name, unsure = each.removeprefix("accept "), bool(accepted.doubt("toy"))
                if name == (before or [FILE])[-1] and not (unsure and name == FILE):
                    with pytest.raises(RevisionError, match="in use for toy already"):
                        accepted.accept("toy", name)
                    continue
                accepted.accept("toy", name)
                before.append(name)
                assert not accepted.doubt("toy")
            assert accepted.accepted("toy") == (before or [FILE])[-1]


def test_dropped_is_dropped_though_its_file_could_not_be_deleted(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """As a kill between the decision and the deletion leaves it: not listed, not found, not accepted; the next drop deletes it."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path))
    first, second = (propose("toy", "f", LOG, {DEAD: Number(20.0)}, clock=lambda: NOON).id for _ in range(2))
    with monkeypatch.context() as cut_off:
        cut_off.setattr(Path, "unlink", lambda *_, **__: (_ for _ in ()).throw(PermissionError(13, "no")))
        with pytest.raises(RevisionError, match="Delete it by hand: it is not used any more"):
            drop("toy", first)
    left = accepted.revision_path("toy", first)
    assert left.exists()
    assert [each.id for each in shelved("toy")] == [second]
    with pytest.raises(UnknownName):
        accept("toy", first, "f")
    drop("toy", second)
    assert not left.exists()


@given(
    st.lists(st.sampled_from(["propose", "accept", "accept old", "drop", "delete", "rollback", "damage"]), max_size=14)
)
def test_an_id_is_never_given_twice_and_no_proposal_is_in_use(did: list[str]) -> None:
    """Whatever is accepted, dropped, rolled back, damaged or deleted by hand: a new revision has an id that none ever had, and is
    in use only once it was accepted."""
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTODDS_DATA", folder)
        every: list[str] = []
        for each in did:
            there = accepted.revision_ids("toy")
            if each == "propose":
                stood = accepted.accepted("toy")
                made = propose("toy", "f", LOG, {DEAD: Number(20.0)}, clock=lambda: NOON).id
                assert made not in every
                assert accepted.accepted("toy") == stood != made
                every.append(made)
            elif each == "damage":
                accepted.shelf("toy").mkdir(parents=True, exist_ok=True)
                (accepted.shelf("toy") / accepted.HISTORY).write_bytes(b"\xff\x00")
                (accepted.shelf("toy") / beside.REMARKS).open("a").write('{"revision":')
            elif there and each == "delete":
                revision_path("toy", there[0]).unlink()
            elif there or each == "rollback":
                with suppress(RevisionError):
                    name = there[0 if each == "accept old" else -1] if there else ""
                    {"drop": lambda n: drop("toy", n), "rollback": lambda _: rollback("toy")}.get(
                        each, lambda n: accept("toy", n, "f")
                    )(name)


def test_a_name_finds_a_revision_and_is_nobody_elses(file: str) -> None:
    """Named once more it goes by the new name; names that are taken, or could be ids, are refused."""
    one, two = proposed(file), proposed(file)
    assert revisions.rename("toy", "a", "winter") == one.id == find_id("toy", "winter")
    for bad in ("winter", "W", "b", "file", "2026-11-25-a", "two words"):
        with pytest.raises(RevisionError, match="cannot be a revision's name"):
            revisions.rename("toy", two.id, bad)
    revisions.rename("toy", "winter", "cold")
    assert find_id("toy", "cold") == one.id
    with pytest.raises(UnknownName):
        find_id("toy", "winter")


def test_who_accepted_and_why_is_kept(file: str) -> None:
    """In the history, with every decision."""
    made = proposed(file)
    accept("toy", made.id, made.fingerprint, by="the owner", why="belts\nwear here")
    assert [(d.by, d.why) for d in history("toy")] == [("the owner", "belts wear here")]


_ACCEPT = """
import sys
from faultodds.revisions import decisions as accepted
for _ in range(12):
    accepted.accept("toy", sys.argv[1])
    accepted.accept("toy", sys.argv[2])
"""


def test_two_terminals_lose_no_decision(file: str) -> None:
    """Two processes that accept at the same time leave every line whole."""
    names = ["2026-11-25-a", "2026-11-25-b", "2026-11-25-c", "2026-11-25-d"]
    with ThreadPoolExecutor(2) as pool:
        list(
            pool.map(
                lambda n: subprocess.run([sys.executable, "-c", _ACCEPT, *n], check=True, env=dict(os.environ)),
                (names[:2], names[2:]),
            )
        )
    done = history("toy")
    assert sorted(d.revision for d in done) == sorted(names * 12)


def test_two_terminals_never_get_the_same_id(file: str) -> None:
    """Revisions proposed at once get names of their own, and each file holds its own numbers."""
    with ThreadPoolExecutor(4) as pool:
        made = list(
            pool.map(lambda i: propose("toy", "f", LOG, {DEAD: Number(float(i))}, clock=lambda: NOON), range(12))
        )
    assert len({each.id for each in made}) == 12
    for each in made:
        assert read(revision_path("toy", each.id)).numbers == each.numbers


@given(st.lists(st.tuples(st.sampled_from(["accept", "rollback"]), st.sampled_from("abc")), max_size=30))
def test_rolling_back_what_does_not_stand_changes_nothing(steps: list[tuple[str, str]]) -> None:
    """Two terminals that roll back the same revision take it back once; what stands is always something accepted."""
    decisions = [Decision("", action, name) for action, name in steps]
    stack = standing(decisions)
    assert set(stack) <= {d.revision for d in decisions if d.action == "accept"}
    if stack:
        assert standing([*decisions, Decision("", "rollback", stack[-1])]) == stack[:-1]
        other = next(name for name in "abc" if name != stack[-1])
        assert standing([*decisions, Decision("", "rollback", other)]) == stack


def test_an_odd_appliance_id_stays_inside_the_folder(data: Path) -> None:
    """An id is free text in a knowledge file; it must not lead out of the data folder."""
    for name in ("../../etc", "a/b", "", "x" * 300, "naïve", ".."):
        assert accepted.shelf(name).parent == data / "revisions"


# --- differences ---


def test_differences_are_told_against_another_revision_or_the_file(file: str) -> None:
    """A number only one of them names is held against the file's."""
    a, b = proposed(file), proposed(file, dead=20.0, weak=35.0, **{LINK: 0.5})
    assert [(d.path, d.one, d.other) for d in differences(a.numbers)] == [(DEAD, 20.0, 30.0), (WEAK, 25.0, 15.0)]
    assert [(d.path, d.one, d.other) for d in differences(a.numbers, b.numbers)] == [(WEAK, 25.0, 35.0)]
    assert differences(a.numbers, a.numbers) == []
    only = {LINK: Number(0.5, 0.98)}
    assert [(d.path, d.one, d.other) for d in differences({}, only)] == [(LINK, 0.98, 0.5)]


# --- cost ---

_OPEN = """
import sys
from faultodds.belief import open_appliance
opened = open_appliance(sys.argv[1])
print(opened.revision, *sorted({m.partition('.')[0] for m in sys.modules}))
"""


def test_opening_with_an_accepted_revision_loads_nothing_heavy(file: str) -> None:
    """From a warm cache neither a validation library, nor TOML, nor the learner is loaded."""
    first, *rest = Path(file).read_text().splitlines()
    assert first.startswith("appliance = ")
    header = '[appliance]\nid = "toy"\ntitle = "Toy"\nformat = 1\ncalls = "toy calls"\n'
    Path(file).write_text("\n".join([*rest, header]))  # as a knowledge file is usually written
    made = proposed(file)
    accept("toy", made.id, made.fingerprint)
    open_appliance(file)
    done = subprocess.run([sys.executable, "-c", _OPEN, file], capture_output=True, text=True, check=True)
    name, *loaded = done.stdout.split()
    assert name == made.id
    assert not {"pydantic", "pandas", "scipy", "tomllib", "sqlalchemy"} & set(loaded)


def test_reading_a_revision_loads_neither_pydantic_nor_pandas(file: str) -> None:
    """The record, its file and what stands are light."""
    path = revision_path("toy", proposed(file).id)
    code = "import sys, pathlib; from faultodds.revisions.revision import read; read(pathlib.Path(sys.argv[1]))"
    code += "; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert not {"pydantic", "pandas", "scipy", "faultodds.tuning"} & set(done.stdout.split())


def test_the_history_is_plain_lines(file: str) -> None:
    """What was decided can be read with any text tool."""
    made = proposed(file)
    accept("toy", made.id, made.fingerprint)
    (line,) = (accepted.shelf("toy") / accepted.HISTORY).read_text().splitlines()
    said = json.loads(line)
    assert (said["action"], said["revision"]) == ("accept", made.id)
    assert datetime.fromisoformat(said["at"]).tzinfo is not None


def test_letters_count_on_after_z() -> None:
    """26 a day are not the end."""
    assert [revisions._letters(n) for n in (1, 26, 27, 52, 53, 703)] == ["a", "z", "aa", "az", "ba", "aaa"]
