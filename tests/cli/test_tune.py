"""`faultodds tune`: from an imported log to a proposal, and what it says on the way."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.audit import learned_from
from faultodds.joblog import find_log
from faultodds.joblog.clean import write_clean
from faultodds.tuning.draw import draw_log
from run_cli import Ran, faultodds, write_toy
from toys import raw_toy, toy


@pytest.fixture(autouse=True)
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data folder of this test alone."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path / "data"


@pytest.fixture
def file(tmp_path: Path) -> str:
    """The toy as a knowledge file, by path."""
    return str(write_toy(tmp_path / "my_toy.toml"))


@pytest.fixture
def log(data: Path) -> str:
    """A log, imported as it were, of a shop with half as many dead pumps again; its name."""
    parts = raw_toy()["component"]
    parts["pump"]["modes"]["dead"]["share"] = 45
    parts["belt"]["modes"]["broken"]["share"] = 5
    (data / "logs").mkdir(parents=True)
    write_clean(draw_log(toy(component=parts), 300, seed=3, missing=0.3), data / "logs" / "north_shop.parquet")
    return "north_shop"


def tune(file: str, *argv: str) -> Ran:
    return faultodds("tune", *argv, "--appliance", file)


def test_tune_learns_shows_and_proposes(file: str, log: str, tmp_path: Path) -> None:
    """Provenance, movers, table with intervals, figure, and what to type next; nothing is in use yet."""
    figure = tmp_path / "priors.png"
    ran = tune(file, log, "--sweeps", "80", "--figure", str(figure))
    assert ran.code == 0, ran.err
    assert max(map(len, ran.out.splitlines())) <= 80 or str(tmp_path) in ran.out
    assert "\x1b" not in ran.out + ran.err
    assert ran.err == ""
    assert "300 jobs of 'north_shop'" in ran.text
    assert "times the calls for 'pump: dead' of the file:" in ran.text
    assert "MAIN CAUSES, SHARE OF CALLS" in ran.out
    assert "* pump: dead 30 %" in ran.text
    assert figure.read_bytes().startswith(b"\x89PNG")
    listed = faultodds("revision", "list", "--appliance", file, "--json").answer
    (made,) = listed["revisions"]
    assert (made["status"], listed["accepted"]) == ("proposed", "file")
    for line in (
        f"faultodds revision diff {made['revision']} --appliance {file}",
        f"faultodds audit north_shop --revision {made['revision']} --appliance {file}",
        f"faultodds revision accept {made['revision']} --appliance {file}",
    ):
        assert f"  {line}\n" in ran.out


def test_what_tune_says_to_type_next_works(file: str, log: str) -> None:
    """Diff as printed; accept as printed, which asks for more where nobody has judged, with what it then tells to add."""
    ran = tune(file, log, "--no-intervals")
    typed = [line.split()[1:] for line in ran.out.splitlines() if line.startswith("  faultodds revision")]
    assert [words[1] for words in typed] == ["diff", "accept"]
    diff, accept = typed
    assert faultodds(*diff).code == 0
    assert "--anyway" in faultodds(*accept).said
    assert faultodds(*accept, "--anyway").code == 0


def test_tune_without_intervals_says_so_in_the_table(file: str, log: str) -> None:
    """No interval is made up."""
    ran = tune(file, log, "--no-intervals")
    assert "not computed" in ran.out
    assert "outside the interval" not in ran.out
    assert "90 % sure" not in ran.out
    answer = tune(file, log, "--no-intervals", "--json").answer
    assert {n["low"] for n in answer["numbers"]} == {None}


def test_json_is_the_revision(file: str, log: str) -> None:
    """One object with provenance, movers, numbers, notes."""
    answer = tune(file, log, "--sweeps", "60", "--json").answer
    assert answer["status"] == "proposed"
    assert answer["log"]["name"] == "north_shop"
    assert answer["settings"]["sweeps"] == 60
    dead = next(n for n in answer["numbers"] if n["title"] == "pump: dead")
    assert dead["low"] < dead["learned"] < dead["high"]
    assert isinstance(answer["notes"], list)


def test_worth_decides_how_far_the_file_gives_way(file: str, log: str) -> None:
    """A file worth many jobs hardly moves; one worth few follows the log."""
    learned = {}
    for worth in ("5", "100000"):
        answer = tune(file, log, "--no-intervals", "--worth", worth, "--json").answer
        learned[worth] = next(n["learned"] for n in answer["numbers"] if n["title"] == "pump: dead")
    assert abs(learned["100000"] - 0.30) < 0.005
    assert learned["5"] > 0.36


def test_half_life_is_kept_with_the_revision(file: str, log: str) -> None:
    """Forgetting changes the numbers and is written down."""
    answer = tune(file, log, "--no-intervals", "--half-life", "60", "--json").answer
    assert answer["settings"]["half_life_days"] == 60
    assert answer["numbers"] != tune(file, log, "--no-intervals", "--json").answer["numbers"]


@pytest.mark.parametrize(
    ("argv", "says"),
    [
        (["nowhere"], "there is no job log called 'nowhere'."),
        (["north_shpo"], "Did you mean 'north_shop'?"),
        (["north_shop", "--worth", "0"], "above 0"),
        (["north_shop", "--worth", "-3"], "greater than or equal to 0"),
        (["north_shop", "--half-life", "0"], "half_life_days: found 0.0; it is above 0"),
        (["north_shop", "--about", "shares"], "there is no kind of numbers called 'shares'."),
        (["north_shop", "--figure", "x.bmp"], "--figure x.bmp: a figure ends in .png, .svg, .pdf."),
        (["north_shop", "--figure", "no/such/x.png"], "there is no folder no/such"),
    ],
)
def test_a_wrong_word_is_said_and_nothing_is_proposed(file: str, log: str, argv: list[str], says: str) -> None:
    """Exit 2, the nearest or allowed, before any work."""
    ran = tune(file, *argv)
    assert ran.code == 2
    assert says in ran.said
    assert faultodds("revision", "list", "--appliance", file, "--json").answer["revisions"] == []


def test_a_log_that_was_imported_to_another_folder_is_found_there(
    file: str, data: Path, log: str, tmp_path: Path
) -> None:
    """With the `--data` of its import, by `tune` and by the audit that it says to type next; not without."""
    (data / "logs").rename(tmp_path / "logs")
    assert tune(file, log, "--no-intervals").code == 2
    ran = tune(file, log, "--no-intervals", "--data", str(tmp_path))
    assert ran.code == 0, ran.err
    following = next(line.split()[1:] for line in ran.out.splitlines() if line.startswith("  faultodds audit"))
    assert following[following.index("--data") + 1] == str(tmp_path)
    assert faultodds(*following, "--no-rivals", "--refits", "1", "--stages", "all").code == 0


def test_a_log_that_is_not_imported_yet_is_pointed_to_import(file: str, tmp_path: Path) -> None:
    """A CSV is no clean log."""
    raw = tmp_path / "jobs.csv"
    raw.write_text("ticket,fault\n1,pump\n")
    ran = tune(file, str(raw))
    assert ran.code == 2
    assert "faultodds log import" in ran.said


def test_learn_goes_all_the_way(file: str, log: str, data: Path) -> None:
    """One command: what moved, the causes with a plain count and how far the log is believed, a verdict that is kept, and what to
    type; nothing is in use before it is accepted."""
    ran = faultodds("learn", log, "--appliance", file)
    assert ran.code == 0, ran.err
    assert max(len(line) for line in ran.out.splitlines() if file not in line) <= 80
    for word in ("held", "log alone", "believed", "visits tell which repair held", "VERDICT"):
        assert word in ran.text, word
    listed = faultodds("revision", "list", "--appliance", file, "--json").answer
    (made,) = listed["revisions"]
    assert (made["status"], listed["accepted"]) == ("proposed", "file")
    assert made["verdict"]["words"] in ran.text
    assert made["verdict"]["base"] == "file"
    dead = next(n for n in tune_numbers(file, made["revision"]) if n["title"] == "pump: dead")
    assert 0.0 <= dead["believed"] <= 1.0
    assert min(dead["file"], dead["log_share"]) <= dead["learned"] <= max(dead["file"], dead["log_share"])
    assert faultodds("revision", "accept", made["revision"], "--anyway", "--appliance", file).code == 0
    again = faultodds("audit", log, "--appliance", file, "--no-rivals")
    assert "Held against the file, not against" in again.text  # the accepted one knows every month of this log


def tune_numbers(file: str, revision: str) -> list[dict[str, object]]:
    """Every number of a revision."""
    return list(faultodds("revision", "show", revision, "--appliance", file, "--json").answer["numbers"])


def test_a_part_of_a_log_is_learned_from_when_asked(file: str, log: str) -> None:
    """From a day on; a day that is none, or a branch that the log has not, is refused with what there is."""
    ran = tune(file, log, "--no-intervals", "--since", "1990-01-01", "--json")
    assert ran.answer["settings"]["since"] == "1990-01-01"
    assert (tune(file, log, "--since", "yesterday").code, tune(file, log, "--since", "2199-01-01").code) == (2, 2)
    wrong = tune(file, log, "--branch", "quay")
    assert (wrong.code, "there is no branch in this log called 'quay'" in wrong.said) == (2, True)


def test_a_part_of_a_log_is_judged_by_that_part(file: str, log: str) -> None:
    """What was learned from a part of a log is held against that part; an audit of the whole log is no verdict on it."""
    part = "--since", "1990-01-01"
    made = faultodds("learn", log, *part, "--appliance", file, "--json").answer
    assert (made["settings"]["since"], made["verdict"]["base"]) == ("1990-01-01", "file")
    told = [learned_from(toy().appliance.id, find_log(log), *which) for which in ((), ("1990-01-01",))]
    assert [made["revision"] in ids for ids in told] == [False, True]
    for command in ("audit", "learn"):
        wrong = faultodds(command, log, "--branch", "quay", "--appliance", file)
        assert (wrong.code, "there is no branch in this log called 'quay'" in wrong.said) == (2, True)
