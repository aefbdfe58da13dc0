"""What a shop's manager meets: work told in order, places, nothing found, the customer's no, ticks, phrases, other machines."""

from __future__ import annotations

import csv
import re
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from faultodds.errors import FaultoddsError, UnknownName
from faultodds.joblog import sentences, told_in_order
from faultodds.joblog.cells import CellReader
from faultodds.joblog.clean import FAILED, REPAIRS, read_clean
from faultodds.joblog.cleaning_report import CleaningReport, lines
from faultodds.joblog.drafts import draft, with_phrases
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.joblog.lexicon import of_endings
from faultodds.joblog.likely import Sample
from faultodds.joblog.mapping import Column, from_raw, meanings
from faultodds.joblog.phrases import kept_phrases
from faultodds.joblog.propose import propose
from faultodds.joblog.technicians import Technicians
from faultodds.knowledge.schema import Knowledge
from joblog import score_cells, score_layouts
from shop_logs import write

CELLS = tomllib.loads(Path(__file__).with_name("manager_cells.toml").read_text("utf-8"))["cell"]
ENDED = {"declined": "unknown", "referred": "referred"}
"""What the record has for an ending; it has none for "nothing found", of which nothing may be read but a run that was good."""


def mark(dryer: Knowledge, cell: dict[str, Any]) -> str:
    """What is to be thought of how a cell is read, its ending and the repairs that did not hold among it."""
    said, asked = score_cells.heard(dryer, cell)
    ends = {each for each in said if each.startswith("came_back=")}
    reader = CellReader(propose(dryer, [_sample(cell)]).columns[0], dryer)
    told = dict(reader.read(cell["text"]).said).get("ended") if reader.column.kind == "ended" else None
    wanted = {*cell.get("repairs", ()), *(f"failed={name}" for name in cell.get("failed", ()))}
    full = {**cell, "repairs": sorted(wanted)}
    said = (said - ends) | ({f"ended={told}"} if told and "ended" in str(cell.get("not", ())) else set())
    found = score_cells.mark(full, said, asked)
    if found == "right" and cell.get("ended") in ENDED and told != ENDED[cell["ended"]]:
        return "asked" if asked else "missed"
    return found


def _sample(cell: dict[str, Any]) -> Sample:
    texts = [cell["text"], *cell.get("column_values", ())]
    return Sample(cell["column"], Counter(texts), len(texts))


def marks(dryer: Knowledge) -> Counter[str]:
    """How many cells of the corpus got which mark."""
    return Counter(mark(dryer, cell) for cell in CELLS)


def test_cells_of_the_manager(dryer: Knowledge) -> None:
    """The corpus written before the code: what is not read is asked about, and nothing is read as what it is not."""
    found = marks(dryer)
    assert found.total() == 61
    assert found["right"] >= 55
    assert found["missed"] == found["wrong"] == found["harmful"] == 0


@pytest.mark.parametrize(
    ("where", "name", "instead"),
    [
        (sentences, "without_places", lambda appliance, text: text),
        (told_in_order, "_failed", lambda appliance: re.compile("(?!)")),
    ],
)
def test_the_corpus_sees_a_planted_mistake(
    where: Any, name: str, instead: Any, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader that takes a place for a part, or overlooks a failed run, reads what is not said, and asks nothing."""
    monkeypatch.setattr(where, name, instead)
    found = marks(dryer)
    assert found["wrong"] + found["harmful"] + found["missed"] >= 2


@pytest.mark.parametrize("kind", ["findings", "notes", "repairs"])
@pytest.mark.parametrize(
    ("text", "run"),
    [
        ("could not fault it", None),
        ("NTF. cycled hot for 30 min", "dry_in_time:0.5|slow:0.5"),
        ("nothing wrong found, both loads dried", "dry_in_time"),
        ("no faults; ran a load, not dry", None),
    ],
)
def test_nothing_found_is_no_finding(
    kind: Any, text: str, run: str | None, dryer: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All that is read is a run that was good, in whatever column; a reader that overlooks it invents a finding."""
    said = CellReader(Column("h", kind), dryer).read(text).said
    assert said == ((("after:verification_run", run),) if run else ())
    monkeypatch.setattr(told_in_order, "nothing_found", lambda text: None)
    invented = CellReader(Column("h", "notes"), dryer).read("could not fault it").said
    assert invented == (("found:diagnostic_codes", "none"),)


@pytest.mark.parametrize(
    ("text", "repairs", "failed"),
    [
        ("ign, no change, coils, still cold, board sorted it", "igniter;coil_set;board", "igniter;coil_set"),
        ("new belt but still squeals so fitted rollers", "belt_idler;rollers", "belt_idler"),
        ("igniter, same problem, new igniter again, heats", "igniter", None),
        ("cleaned duct. ran w duct off, no change", "clean_duct", None),
        ("replaced belt, still good", "belt_idler", None),
        ("new coils, no change in price", "coil_set", None),
        ("igniter no good, replaced", "igniter", None),
        ("new igniter, no better, it was the coils. ordered", "igniter", "igniter"),
        ("it was the coils. ordered", None, None),
    ],
)
def test_what_did_not_hold_comes_first(text: str, repairs: str | None, failed: str | None, dryer: Knowledge) -> None:
    """Each run that still showed the fault parts what was tried from what came after; what looks like one and is none does not."""
    said = dict(CellReader(Column("work", "repairs"), dryer).read(text).said)
    assert (said.get(REPAIRS), said.get(FAILED)) == (repairs, failed)


def test_the_clean_log_keeps_the_order(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Repairs that failed lead, whichever column names them first; a visit on which none held is not done, and no callback."""
    rows = [f"J{n},2024-0{1 + n // 28}-{1 + n % 28:02},no heat,new igniter,igniter,done" for n in range(60)]
    rows += [
        "J71,2024-04-01,no heat,fitted ign - no better. was the coils,coils; igniter,done",
        "J72,2024-04-02,no heat,new fuse; no change,fuse,",
        "J73,2024-04-03,no heat,no fault found; ran two loads both dry,,",
    ]
    path = write(tmp_path / "jobs.csv", "\n".join(["job,date,complaint,work done,parts,status", *rows]) + "\n")
    import_log(draft(path, dryer, data=data), dryer, data=data)
    frame = read_clean(files_of("jobs", data).clean).set_index("job").astype(object)
    assert tuple(frame.loc["J71", ["repairs", "failed"]]) == ("igniter;coil_set", "igniter")
    assert tuple(frame.loc["J72", ["repairs", "failed", "ended"]]) == ("thermal_fuse", "thermal_fuse", "unknown")
    assert frame.loc["J73", "after:verification_run"] == "dry_in_time"
    assert frame.loc["J1", ["failed"]].isna().all()


# --- what a phrase may mean ---


@pytest.mark.parametrize(
    ("kind", "text", "meant"),
    [
        ("complaint", "clean_duct", (("repairs", "clean_duct"),)),
        ("findings", "clear_hood;igniter", (("repairs", "clear_hood"), ("repairs", "igniter"))),
        ("repairs", "heat=none", (("found:heat", "none"),)),
        ("notes", "verification_run=slow", (("after:verification_run", "slow"),)),
        ("notes", "gone", (("ended", "gone"),)),
        ("ended", "unknown", (("ended", "unknown"),)),
        ("repairs", "unknown", ()),
        ("repairs", "Ignore", ()),
        ("complaint", "nothing", ()),
    ],
)
def test_a_phrase_may_mean_anything_that_the_file_has(
    kind: Any, text: str, meant: tuple[tuple[str, str], ...], dryer: Knowledge
) -> None:
    """Any repair and any outcome in any column of words, and nothing."""
    assert meanings(Column("h", kind), text, dryer, "here") == meant


def test_a_phrase_that_means_nothing_known_is_refused(dryer: Knowledge) -> None:
    """With the nearest name and what else may be written."""
    with pytest.raises(
        UnknownName, match=r"no repair called 'clean_dukt'. Did you mean 'clean_duct'\?.*Or write name=outcome"
    ):
        meanings(Column("h", "notes"), "clean_dukt", dryer, "here")
    with pytest.raises(UnknownName, match=r"no ending called 'clean_duct'. Known: gone, came_back, referred, unknown"):
        meanings(Column("h", "ended"), "clean_duct", dryer, "here")


def test_ticked_off_phrases_are_read_back_as_repairs(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Whole cells and parts of them; in a mapping file the same words mean the same."""
    rows = [f"J{n},2024-01-{1 + n % 28:02},no heat,new coils" for n in range(20)]
    rows += [
        "J71,2024-02-01,no heat,the usual; new coils",
        "J72,2024-02-02,no heat,did the hd",
        "J73,2024-02-03,zz top,tbc Ned",
    ]
    path = write(tmp_path / "log.csv", "\n".join(["job,date,complaint,work done", *rows]) + "\n")
    means = "column,phrase,means\nwork done,the usual,clean_duct\nwork done,did the hd,clear_hood\nwork done,tbc Ned,ignore\n"
    table = write(tmp_path / "phrases.csv", means + "complaint,zz top,igniter\n")
    drafted = with_phrases(draft(path, dryer, data=data), table, dryer)
    assert import_log(drafted, dryer, data=data).total("unknown") == 0
    done = read_clean(files_of("log", data).clean).set_index("job")["repairs"].astype(str)
    assert list(done[["J71", "J72", "J73"]]) == ["clean_duct;coil_set", "clear_hood", "igniter"]
    raw = {"heading": "w", "is": "repairs", "words": {"hd": "clear_hood", "tbc": "ignore", "x y": "unknown"}}
    column = from_raw({"format": 1, "column": [raw]}, dryer, "m.toml").columns[0]
    assert column.words == {"hd": "clear_hood", "tbc": "-", "x y": "?"}


def test_a_phrase_with_a_part_blotted_out_is_not_ticked_off(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """It would match nothing, and nobody would know."""
    path = write(tmp_path / "log.csv", "job,date,complaint,work done\n" + "J1,2024-01-01,no heat,new coils\n" * 3)
    table = write(tmp_path / "phrases.csv", "column,phrase,means\nwork done,[..] done,clear_hood\n")
    with pytest.raises(FaultoddsError, match="Write the phrase in full, as it stands in your log"):
        with_phrases(draft(path, dryer, data=data), table, dryer)


# --- the table of phrases ---


def _unshown(report: CleaningReport, reader: CellReader, heading: str, text: str) -> list[str]:
    """The sentences of a cell that says something and that no phrase of the table holds, names blotted out or not."""
    shown = [phrase for column in report.columns if column.heading == heading for phrase, _ in column.phrases]
    patterns = [re.compile(".*".join(map(re.escape, phrase.split("[..]"))), re.I) for phrase in shown]
    whole = " ".join(text.split())
    if not reader.read(text).said or any(p.fullmatch(whole) for p in patterns):
        return []
    parts = sentences.sentences_of(text, REPAIRS in reader.column.targets(reader._knowledge))
    return [part for part in parts if not any(p.fullmatch(" ".join(part.split())) for p in patterns)]


@pytest.mark.parametrize("path", score_layouts.layouts()[:4], ids=lambda path: path.name[:9])
def test_every_phrase_is_in_the_table(dryer: Knowledge, path: Path, data: str) -> None:
    """The law: each phrase of each cell that says something stands there, of whichever column, however often."""
    found = draft(path.with_name(tomllib.loads(path.read_text("utf-8"))["file"]), dryer, name="log", data=data)
    report = import_log(found, dryer, data=data)
    missing = []
    for place, column in enumerate(found.mapping.columns):
        if column.targets(dryer):
            reader = CellReader(column, dryer)
            texts = {row[place] for row in found.found.sample if row[place].strip()}
            missing += [each for text in texts for each in _unshown(report, reader, column.heading, text)]
    assert missing == []
    assert len(kept_phrases(files_of("log", data).phrases)) == sum(len(c.phrases) for c in report.columns)


def test_a_phrase_that_stands_once_is_shown_without_its_people(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """What nobody understood is there as well; a name is blotted out of it."""
    rows = [f"J{n},2024-01-{1 + n % 28:02},no heat,new coils" for n in range(20)]
    rows += ["J71,2024-02-01,no heat,new belt. told Quillan JB 40412 of lint"]
    path = write(tmp_path / "log.csv", "\n".join(["job,date,complaint,work done", *rows]) + "\n")
    import_log(draft(path, dryer, data=data), dryer, data=data)
    table = {p.phrase: p.became for p in kept_phrases(files_of("log", data).phrases)}
    assert table["new coils"] == "coil_set"
    text = files_of("log", data).phrases.read_text("utf-8-sig")
    assert "new belt" in text
    assert not re.search("Quillan|JB|40412", text)


# --- ticks, endings, people, other machines ---


@pytest.mark.parametrize(
    ("heading", "cells", "kind", "tick"),
    [
        ("Fuse blown", ["x"] * 8 + ["see sheet"], "findings", "fuse_continuity=open"),
        ("Coils replaced", ["y"] * 8 + ["n"] * 4 + ["tbc", "ask Ned"], "repairs", "coil_set"),
        ("Duct full of lint", ["1"] * 5 + ["0"] * 9 + ["half"], "findings", "duct_look=lint"),
        ("No heat", ["x"] * 9 + ["sort of"], "complaint", "heat=none"),
    ],
)
def test_a_stray_cell_drops_no_column_of_ticks(
    heading: str, cells: list[str], kind: str, tick: str, dryer: Knowledge
) -> None:
    """The ticks are read, and the stray one is asked about."""
    column = propose(dryer, [Sample(heading, Counter(cells), 40)]).columns[0]
    assert (column.kind, column.words[cells[0]]) == (kind, tick)
    stray = CellReader(column, dryer).read(cells[-1])
    assert (stray.said, bool(stray.left)) == ((), True)


def test_a_column_of_ticks_that_is_left_out_says_why(dryer: Knowledge) -> None:
    """A heading that names nothing known, or a repair that the file does not have."""
    for heading, why in (
        ("Polished?", "say in the mapping what a tick means"),
        ("Door switch fitted", "does not know"),
    ):
        column = propose(dryer, [Sample(heading, Counter(["x"] * 5 + ["2"]), 40)]).columns[0]
        assert (column.kind, why in column.why) == ("left_out", True)


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        ("cancelled", None),
        ("call cancelled", None),
        ("part fitted", None),
        ("not fixd", None),
        ("cam back", "came_back"),
        ("refered", "referred"),
    ],
)
def test_a_nearest_ending_is_one_of_the_same_sense(typed: str, near: str | None) -> None:
    """Likeness of letters alone suggests nothing."""
    found = of_endings().nearest(typed)
    assert (found.value if found else None) == near


def test_names_that_are_nearly_one_are_asked_about() -> None:
    """Never made one by themselves, nor told by name; with both in the mapping they are one."""
    names = (
        "Dunstan Vale",
        "Mo Fenwick",
        "Vail, Dunstan",
        "M Fenwick",
        "T1",
        "T2",
        "Kim Ash",
        "Jim Ash",
        "vale dunstan",
    )
    found = Technicians("tech", {}, "row {}".format)
    codes = [found.code(name, row) for row, name in enumerate(names, 2)]
    assert codes == [f"tech_{n}" for n in (1, 2, 3, 4, 5, 6, 7, 8, 1)]
    told = found.alarms()
    assert [re.findall(r"tech_\d \(row \d\)", each) for each in told] == [
        ["tech_1 (row 2)", "tech_3 (row 4)"],
        ["tech_2 (row 3)", "tech_4 (row 5)"],
    ]
    assert not any(name in text for name in ("Vale", "vail", "Fenwick") for text in told)
    listed = Technicians("tech", {"Dunstan Vale": "D1", "Dunstan Vail": "D1"}, "row {}".format)
    assert [listed.code(name, 2) for name in names[:3]] == ["D1", "tech_1", "D1"]
    assert listed.alarms() == []


def test_electric_dryers_are_left_out_and_told(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """By their fuel, or an element that was worked on; what only sounds like one is kept."""
    work = {1: ("electric", "new motor"), 2: ("elec", "new belt"), 3: ("", "burnt element, new element fitted")}
    work |= {4: ("natural", "heater element replaced"), 5: ("", "outlet 240v ok, new coils")}
    work |= {6: ("natural", "electric igniter replaced"), 7: ("", "checked electrics, new timer")}
    work[8] = ("", "not the element: new coils")
    path = tmp_path / "log.csv"
    with path.open("w", encoding="utf-8", newline="") as handle:
        csv.writer(handle).writerows(
            [["job", "date", "fuel", "work done", "complaint"]]
            + [[f"J{n}", f"2024-01-{1 + n:02}", *work.get(n, ("propane", "new coils")), "no heat"] for n in range(28)]
        )
    report = import_log(draft(path, dryer, data=data), dryer, data=data)
    assert (report.used, report.set_aside) == (25, 3)
    told = " ".join(lines(report))
    assert "3 rows are about an electric dryer (row 3, row 4, row 5): left out, nothing is learned from them." in told
    assert "2 rows may be about an electric dryer (row 6, row 7): kept, and read as all others." in told
