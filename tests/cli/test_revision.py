"""`faultodds revision`, and what the everyday commands do with an accepted one."""

from __future__ import annotations

import hashlib
import re
import shlex
from pathlib import Path

import pytest

from faultodds.belief.appliance import open_appliance
from faultodds.revisions.beside import Verdict
from faultodds.revisions.decisions import revision_path
from faultodds.revisions.revision import LogSource, Number
from faultodds.revisions.shelf import judge, propose
from run_cli import Ran, faultodds, write_toy

DEAD = "component/pump/modes/dead/share"
WEAK = "component/pump/modes/weak/share"
LINK = "check/fuse_test/links/fuse.open/open"


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture
def file(tmp_path: Path) -> str:
    """The toy as a knowledge file, by path."""
    return str(write_toy(tmp_path / "my_toy.toml"))


def make(file: str, dead: float = 20.0, weak: float = 25.0, link: float = 0.9) -> str:
    """A proposed revision of the toy; its id."""
    numbers = {
        DEAD: Number(dead, 30.0, dead - 5, dead + 6, 61.5, 200.0),
        WEAK: Number(weak, 15.0, weak - 5, weak + 6, 77.0, 150.0),
        LINK: Number(link, 0.98, link - 0.08, link + 0.09, 44.0, 90.0),
    }
    log = LogSource("north_shop", "ab" * 32, 300, "2022-01-03", "2022-12-30")
    notes = ("The log seems to keep only the bad results of: listen.",)
    return propose("toy", open_appliance(file, revision="file").fingerprint, log, numbers, {"sweeps": 400}, notes).id


def revision(file: str, *argv: str) -> Ran:
    return faultodds("revision", *argv, "--appliance", file)


def odds(file: str, *argv: str) -> Ran:
    return faultodds("odds", "--found", "slow=yes", "--appliance", file, *argv)


# --- looking ---


def test_without_a_revision_the_list_says_how_to_get_one(file: str) -> None:
    """An empty shelf is no error."""
    assert revision(file, "list").text == (
        "No revision of toy yet: the knowledge file's own numbers are in use. Learn one: faultodds tune LOG"
    )
    assert revision(file, "list", "--json").answer == {
        "appliance": "toy", "accepted": "file", "revisions": [], "history": [],
    }  # fmt: skip
    ran = revision(file, "diff")
    assert (ran.code, ran.said) == (2, "there is no revision of toy yet. Learn one: faultodds tune LOG.")


def test_the_list_shows_which_is_in_use_and_what_was_decided(file: str) -> None:
    """Newest first, a star at the one in use, decisions with their times."""
    a, b = make(file), make(file, 10.0, 35.0)
    revision(file, "accept", a, "--anyway")
    ran = revision(file, "list")
    assert ran.out.index(b) < ran.out.index(a)
    assert f"* {a} accepted: 300 jobs of 'north_shop', 2022-01-03 to 2022-12-30" in ran.text
    assert f"{b} proposed:" in ran.text
    assert f"In use: revision {a}." in ran.text
    assert f"UTC accepted {a}" in ran.text
    answer = revision(file, "list", "--json").answer
    assert answer["accepted"] == a
    assert [(r["revision"], r["status"]) for r in answer["revisions"]] == [(b, "proposed"), (a, "accepted")]
    assert [(d["action"], d["revision"]) for d in answer["history"]] == [("accept", a)]


def test_show_has_provenance_movers_table_and_notes(file: str) -> None:
    """Everything a manager asks of a revision, in 80 columns, without any colour."""
    name = make(file)
    ran = revision(file, "show", name[-1])
    assert ran.code == 0, ran.err
    assert max(map(len, ran.out.splitlines())) <= 80
    assert "\x1b" not in ran.out
    assert f"REVISION {name} of toy, learned" in ran.text
    assert "300 jobs of 'north_shop', 2022-01-03 to 2022-12-30 (content abababababab)" in ran.text
    assert (
        "Your shop sees 1.7 times the calls for 'pump: weak' of the file: 25 % against 15 % (90 % sure: 20 to 31 %)."
        in ran.text
    )
    assert "Fuse test: 'open' with fuse: open: 90 % here, 98 % in the file (90 % sure: 82 to 99 %)." not in ran.text
    assert "* pump: weak 15 % 77, 26 % 25 % 20 to 31 %" in ran.text
    assert "* pump: dead 30 % 62, 21 % 20 % 15 to 26 %" in ran.text
    assert "- The log seems to keep only the bad results of: listen." in ran.text
    assert "Status: proposed." in ran.text


def test_show_can_turn_to_other_kinds_of_numbers(file: str, tmp_path: Path) -> None:
    """--about picks the table and the figure; a wrong kind names the nearest."""
    name, figure = make(file), tmp_path / "checks.svg"
    ran = revision(file, "show", name, "--about", "checks", "--figure", str(figure))
    assert "fuse test: 'open' with fuse: open 98 % 90 % 82 to 99 % 44" in ran.text
    assert f"Wrote {figure}." in "".join(ran.out.split("\n")) or str(figure) in ran.out.replace("\n", "")
    assert figure.read_text().startswith("<?xml")
    wrong = revision(file, "show", name, "--about", "chekcs")
    assert (wrong.code, "Did you mean 'checks'?" in wrong.said) == (2, True)
    late = revision(file, "show", name, "--figure", "a.doc")
    assert (late.code, "a figure ends in .png, .svg, .pdf" in late.said) == (2, True)
    assert "No numbers on repairs that take" in revision(file, "show", name, "--about", "repairs").text


def test_show_as_json_has_every_number(file: str) -> None:
    """Shares as shares of 1, with interval, jobs, draws and the movers' sentences."""
    answer = revision(file, "show", make(file), "--json").answer
    assert answer["status"] == "proposed"
    assert answer["log"]["jobs"] == 300
    by_path = {n["path"]: n for n in answer["numbers"]}
    assert by_path[DEAD]["learned"] == pytest.approx(0.2)
    assert by_path[DEAD] == {
        "path": DEAD, "kind": "causes", "title": "pump: dead", "file": 0.3, "learned": 0.2, "low": 0.15, "high": 0.26,
        "jobs": 61.5, "draws": 200.0, "moved": True, "held": None, "log_share": pytest.approx(62 / 300.5), "believed": 1.0,
    }  # fmt: skip
    assert [m["path"] for m in answer["movers"]] == [WEAK, DEAD]


def test_diff_compares_with_what_is_in_use(file: str) -> None:
    """Against the file at first, against the accepted one later, against any when asked."""
    a = make(file)
    ran = revision(file, "diff")
    assert f"{a} against file: 3 numbers differ." in ran.text
    assert "pump: weak 15 % 25 % x 1.67" in ran.text
    assert "Also changed: checks (1)" in ran.text
    revision(file, "accept", a, "--anyway")
    b = make(file, 20.0, 35.0)
    assert f"{b} against {a}: 1 numbers differ." in revision(file, "diff").text
    assert f"{b} against file: 3 numbers differ." in revision(file, "diff", "b", "file").text
    assert f"file against {a}: 3 numbers differ." in revision(file, "diff", "file", "a").text
    assert f"{a} and {a} are the same." in revision(file, "diff", a, a).text
    answer = revision(file, "diff", "b", "a", "--json").answer
    assert (answer["one"], answer["other"]) == (b, a)
    assert [(d["path"], d["one"], d["other"]) for d in answer["differences"]] == [(WEAK, 35.0, 25.0)]


# --- deciding ---


def test_accept_changes_the_advice_and_rollback_changes_it_back(file: str) -> None:
    """Every command uses the accepted numbers from then on and says so; a rollback undoes exactly that."""
    before = odds(file, "--json").answer
    name = make(file)
    ran = revision(file, "accept", name, "--anyway")
    assert f"In use from now on: revision {name} (before: the knowledge file's own numbers)." in ran.text
    assert f"To go back: faultodds revision rollback --appliance {file}" in ran.out.replace("\n", " ")
    after = odds(file, "--json").answer
    assert after["revision"] == name
    assert after["faults"] != before["faults"]
    assert f"Numbers: learned, revision {name}" in odds(file).text
    assert odds(file, "--revision", "file", "--json").answer == before
    back = revision(file, "rollback")
    assert f"Rolled back revision {name}. In use from now on: the knowledge file's own numbers." in back.text
    assert odds(file, "--json").answer == before
    assert "Numbers: learned" not in odds(file).text
    assert odds(file, "--revision", name[-1], "--json").answer == after


def test_an_unknown_revision_names_the_nearest(file: str) -> None:
    """On every command that takes one."""
    name = make(file)
    wrong = name[:-1] + "c"
    for ran in (
        revision(file, "show", wrong),
        revision(file, "accept", wrong),
        odds(file, "--revision", wrong),
        faultodds("next", "--revision", wrong, "--appliance", file),
        faultodds("job", "new", "--revision", wrong, "--appliance", file),
    ):
        assert ran.code == 2
        assert f"there is no revision called '{wrong}'. Did you mean '{name}'?" in ran.said
        assert "faultodds revision list" in ran.said


def test_accept_refuses_after_an_edit_of_the_file_unless_told(file: str) -> None:
    """The message says what happened and both ways on."""
    name = make(file)
    Path(file).write_text(Path(file).read_text().replace('"share" = 20', '"share" = 20.0'))
    judge("toy", name, Verdict(False, "file", "Yes: they forecast better.", "2026-11-25"))
    ran = revision(file, "accept", name)
    assert ran.code == 2
    assert f"the knowledge file of toy has changed since revision {name} was learned" in ran.said
    assert f"faultodds revision accept {name} --anyway" in ran.said
    assert revision(file, "list", "--json").answer["accepted"] == "file"
    assert revision(file, "accept", name, "--anyway").code == 0
    assert "The knowledge file has changed since it was learned." in revision(file, "show", name).text


def test_an_edit_that_the_revision_overrules_is_said_with_every_answer(file: str) -> None:
    """A number changed in the file after the revision was learned has no effect, and that is not kept quiet."""
    revision(file, "accept", make(file), "--anyway")
    text = Path(file).read_text()
    Path(file).write_text(text.replace('"share" = 30', '"share" = 25').replace('"share" = 15', '"share" = 20'))
    assert f"the revision stands over {DEAD} and 1 more." in odds(file).text


def test_a_damaged_revision_stops_no_command_and_its_way_out_works(file: str) -> None:
    """The file's own numbers are used, every answer says so, and what it tells to type works as told."""
    name = make(file)
    revision(file, "accept", name, "--anyway")
    assert odds(file).code == 0
    path = revision_path("toy", name)
    path.write_bytes(path.read_bytes()[:200])
    for ran in (odds(file), faultodds("next", "--appliance", file), faultodds("job", "new", "--appliance", file)):
        assert ran.code == 0
        assert f"revision {name} is damaged or was edited" in ran.text
    assert f"{name} damaged: revision {name} is damaged" in revision(file, "list").text
    assert odds(file, "--revision", "file").code == 0
    told = re.search(r"type '(faultodds revision rollback [^']*)'", odds(file, "--json").answer["revision_doubt"])
    assert told is not None
    assert faultodds(*shlex.split(told[1])[1:]).code == 0
    assert "revision_doubt" not in odds(file, "--json").answer


def test_a_damaged_history_stops_no_command_and_its_way_out_works(file: str) -> None:
    """Every answer says what it rests on, as text and as JSON; what it tells to type works as told, and then it is quiet."""
    name = make(file)
    revision(file, "accept", name, "--anyway")
    path = revision_path("toy", name).with_name("history.jsonl")
    path.write_bytes(path.read_bytes()[:30])
    for ran in (odds(file), faultodds("next", "--appliance", file), faultodds("job", "new", "--appliance", file)):
        assert ran.code == 0, ran.err
    assert "is not known: " in odds(file).text
    assert f"{path} is damaged (line 1)" in odds(file, "--json").answer["revision_doubt"]
    listed = revision(file, "list").text
    told = f"Type 'faultodds revision list --appliance {file}', then 'faultodds revision accept ID --appliance {file}'"
    assert "".join(told.split()) in "".join(listed.split())  # a long path is broken at the end of a line
    assert "damaged, not known what it said: line 1" in listed
    assert (revision(file, "rollback").code, revision(file, "show", name).code) == (2, 0)
    assert revision(file, "accept", name, "--anyway").code == 0
    assert "revision_doubt" not in odds(file, "--json").answer
    again = revision(file, "accept", name)
    assert (again.code, "is in use for toy already" in again.said) == (2, True)


def test_rollback_with_nothing_accepted_is_said(file: str) -> None:
    """And changes nothing."""
    ran = revision(file, "rollback")
    assert (ran.code, "there is nothing to roll back" in ran.said) == (2, True)


def test_what_forecasts_worse_is_not_accepted_unawares(file: str) -> None:
    """The verdict is shown; a bad one wants `--anyway`; who accepted and why is in the list. A good one asks nothing."""
    bad, good = make(file), make(file, 10.0, 35.0)
    judge("toy", bad, Verdict(True, "file", "No: they were worse.", "2026-11-25"))
    judge("toy", good, Verdict(False, "file", "Yes: they forecast better.", "2026-11-25"))
    ran = revision(file, "accept", bad)
    assert (ran.code, "No: they were worse." in ran.text) == (2, True)
    assert (
        "forecasts worse than the knowledge file's own numbers, so it was not accepted. To use it all the" in ran.said
    )
    assert revision(file, "list", "--json").answer["accepted"] == "file"
    assert revision(file, "accept", bad, "--anyway", "--by", "the owner", "--why", "belts wear here").code == 0
    listed = revision(file, "list")
    assert f"accepted {bad}, by the owner: belts wear here" in listed.text
    assert "Settings: " in listed.text
    assert "it forecast worse than the knowledge file's own numbers" in listed.text
    ran = revision(file, "accept", good)
    assert "Yes: they forecast better." in ran.text
    assert f"Not yet held against what is in use now, revision {bad}." in ran.text
    assert revision(file, "list", "--json").answer["accepted"] == good


def test_what_nobody_can_tell_is_not_accepted_unawares(file: str) -> None:
    """Numbers that were held against too few jobs to say anything are asked about as worse ones are, with what was found."""
    unsure = make(file)
    judge("toy", unsure, Verdict(False, "file", "Nobody can tell yet: 12 jobs are too few.", "2026-11-25", known=False))
    ran = revision(file, "accept", unsure)
    assert (ran.code, "12 jobs are too few" in ran.text) == (2, True)
    assert f"faultodds revision accept {unsure} --anyway" in ran.said
    assert revision(file, "list", "--json").answer["accepted"] == "file"
    assert "nobody could tell" in revision(file, "list").text
    assert revision(file, "accept", unsure, "--anyway", "--why", "our own numbers").code == 0
    assert revision(file, "list", "--json").answer["accepted"] == unsure


def test_what_nobody_has_judged_is_not_accepted_unawares(file: str) -> None:
    """Learned by `tune` alone, or with too few jobs for an audit: asked about as well, and the JSON answer says so."""
    name = make(file)
    for argv in ((), ("--json",)):
        ran = revision(file, "accept", name, *argv)
        assert (ran.code, f"faultodds revision accept {name} --anyway" in ran.said) == (2, True)
        assert "nobody can tell yet whether" in ran.said
    assert "Not judged yet" in revision(file, "accept", name).text
    assert revision(file, "list", "--json").answer["accepted"] == "file"
    verdict = revision(file, "accept", name, "--anyway", "--json").answer["verdict"]
    assert (verdict["known"], "Not judged yet" in verdict["words"]) == (False, True)
    assert revision(file, "rollback").code == 0
    assert revision(file, "accept", "file").code == 2  # in use already, and needs no judging


def test_a_revision_is_named_and_dropped_and_its_id_stays_taken(file: str) -> None:
    """By its name it is found; in use it is not dropped; gone, no new one gets its id."""
    a = make(file)
    assert revision(file, "name", "a", "winter").code == 0
    assert "'winter'" in revision(file, "list").text
    assert revision(file, "accept", "winter", "--anyway").code == 0
    held = revision(file, "drop", "winter")
    assert (held.code, "is in use" in held.said) == (2, True)
    revision(file, "rollback", "--by", "the owner", "--why", "belts do not wear so")
    assert f"Dropped {a}." in revision(file, "drop", "winter", "--by", "the owner", "--why", "a slip").text
    listed = " ".join(revision(file, "list").text.split())
    assert f"rolled back {a}, by the owner: belts do not wear so" in listed
    assert f"dropped {a}, by the owner: a slip" in listed
    b = make(file)
    assert b != a and b.endswith("-b")
    assert revision(file, "list", "--json").answer["accepted"] == "file"


# --- jobs ---


def test_a_job_remembers_its_revision_and_says_when_another_is_accepted(file: str) -> None:
    """Advice on a job does not change under the technician's hands; changing over is a command, and noted."""
    a, b = make(file), make(file, 10.0, 35.0)
    revision(file, "accept", a, "--anyway")
    started = faultodds("job", "new", "--found", "slow=yes", "--appliance", file, "--json").answer
    job = started["job"]
    assert (started["revision"], started["accepted_since"]) == (a, None)
    first = faultodds("job", "next", job, "--appliance", file, "--json").answer
    revision(file, "accept", b, "--anyway")
    later = faultodds("job", "next", job, "--appliance", file, "--json").answer
    assert (later["revision"], later["faults"]) == (a, first["faults"])
    shown = faultodds("job", "show", job, "--appliance", file)
    assert f"This job goes on with revision {a}; accepted by now: revision {b}." in shown.text
    assert f"To change over: faultodds job revision {job} {b}" in shown.text
    assert faultodds("job", "show", job, "--appliance", file, "--json").answer["accepted_since"] == b
    once = faultodds("job", "next", job, "--revision", b, "--appliance", file, "--json").answer
    assert once["revision"] == b
    over = faultodds("job", "revision", job, "b", "--appliance", file)
    assert f"note: advised with revision {b} from here on, before with {a}" in over.text
    told = faultodds("job", "show", job, "--appliance", file)
    assert "accepted by now" not in told.text
    assert faultodds("job", "show", job, "--appliance", file, "--json").answer["revision"] == b


def test_a_job_can_be_started_with_another_revision(file: str) -> None:
    """--revision on `job new` is what the job is then advised with."""
    a = make(file)
    assert faultodds("job", "new", "--revision", "a", "--appliance", file, "--json").answer["revision"] == a
    assert faultodds("job", "new", "--appliance", file, "--json").answer["revision"] == "file"


def test_a_job_whose_revision_is_gone_says_how_to_go_on(file: str) -> None:
    """The job is kept; it goes on with other numbers once told to."""
    a = make(file)
    job = faultodds("job", "new", "--revision", a, "--appliance", file, "--json").answer["job"]
    revision_path("toy", a).unlink()
    for argv in (["next", job], ["find", job, "fuse_test=closed"], ["show", job]):
        ran = faultodds("job", *argv, "--appliance", file)
        assert ran.code == 0
        assert f"Job {job} is advised with revision {a}, which cannot be used any more: " in ran.text
        assert f"faultodds job revision {job} file" in ran.text
    assert faultodds("job", "revision", job, "file", "--appliance", file).code == 0
    assert "cannot be used" not in faultodds("job", "next", job, "--appliance", file).text


def test_reading_a_meter_needs_no_revision(file: str) -> None:
    """`read` judges by bands, which no revision changes: a damaged one does not stop it."""
    name = propose("gas_dryer", "f", LogSource("x", "y", 1), {"other_causes/unlisted": Number(2.0)}).id
    assert faultodds("revision", "accept", name, "--anyway").code == 0
    path = revision_path("gas_dryer", name)
    path.write_bytes(b"")
    ran = faultodds("next")
    assert ran.code == 0
    assert f"revision {name} is damaged or was edited" in ran.text
    assert faultodds("read", "coil_ohms", "1.15k").code == 0
    assert faultodds("revision", "rollback").code == 0
    assert "damaged" not in faultodds("next").text


def test_that_the_log_behind_the_revision_in_use_was_changed_is_said(tmp_path: Path) -> None:
    """In the list and where that log is described, once; not of another log, nor where nothing was changed."""
    rows = [f"Q{n},2024-0{1 + n % 9}-{1 + n % 28:02},no heat,new igniter" for n in range(40)]
    path = tmp_path / "north.csv"
    path.write_text("\n".join(["ticket,date,complaint,work done", *rows]), encoding="utf-8")
    for log in ("north", "south"):
        assert faultodds("log", "import", str(path), "--name", log, "--yes").code == 0
    from faultodds.joblog import files_of

    now = hashlib.sha256(files_of("north").clean.read_bytes()).hexdigest()
    numbers = {"other_causes/unlisted": Number(2.0)}
    for sha256, said in ((now, 0), ("ab" * 32, 1)):
        name = propose("gas_dryer", "f", LogSource("north", sha256, 40), numbers).id
        assert faultodds("revision", "accept", name, "--anyway").code == 0
        told = f"LOOK: revision {name} is in use, and the log 'north' was changed"
        listed, north, south = (
            " ".join(faultodds(*argv).text.split())
            for argv in (("revision", "list"), ("log", "describe", "north"), ("log", "describe", "south"))
        )
        assert (listed.count(told), north.count(told), south.count(told)) == (said, said, 0)
