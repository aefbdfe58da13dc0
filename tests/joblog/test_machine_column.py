"""The column that says which machine a row is about: no value goes unseen, and whoever keeps the log has the last word."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from faultodds.errors import UnknownName
from faultodds.joblog import CleaningReport, cleaning_report, draft, files_of, import_log, machines, phrases
from faultodds.joblog.clean import JOB, read_clean
from faultodds.knowledge import Knowledge

KINDS = {
    "mine": ["Dryer", "gas dryer", "NG tumble dryer", "Tumbler", "DRYER (GAS)", "Dryer, electronic", "drier"],
    "both": [
        "Dryer under washing machine", "washer + dryer", "W+D", "w/d tower", "Laundry centre", "fridge & dryer",
        "Dryer (stacked on front loader)", "WD combo", "oven, dryer",
    ],
    "other": [
        "DW", "d/w", "D.W.", "wm", "W/M", "Wash. mach.", "Ref", "refrig", "Fridge-freezer", "frdg", "Frzr", "hob", "COOKER",
        "elec dryer", "E-dryer", "e dryer", "Dryer - elec", "dryer (electric)", "Electric tumble dryer", "heat pump dryer",
        "Gas range", "M/W", "mw", "stove", "ice-maker", "W/H", "A/C", "dish-washer", "Top loader",
    ],
    None: ["Zebra 9", "stack", "unit", "Misc", "customer's own"],
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_names_as_shops_write_them(kind: str | None, dryer: Knowledge) -> None:
    """Short names, two machines in one cell, and what nobody knows."""
    found = {text: machines.which(dryer, text) for text in KINDS[kind]}
    assert {text: told for text, told in found.items() if told != kind} == {}


def _log(tmp_path: Path, values: list[str], said: str = "no heat") -> Path:
    path = tmp_path / "shop.csv"
    with path.open("w", encoding="utf-8", newline="") as handle:
        out = csv.writer(handle)
        out.writerow(["ticket", "date", "appliance", "complaint", "what we found", "work done"])
        for n, value in enumerate([*["Dryer"] * 60, *values]):
            day = f"2024-0{1 + n % 9}-{1 + n % 28:02}"
            out.writerow(
                [
                    f"Q{100 + n}",
                    day,
                    value,
                    "no heat" if value == "Dryer" and n else said,
                    "igniter open",
                    "new igniter",
                ]
            )
    return path


def _read(path: Path, data: str, dryer: Knowledge, means: dict[str, str] | None = None) -> CleaningReport:
    made = draft(path, dryer, data=data)
    if means:
        table = files_of("shop", data).phrases
        found = [p for p in phrases.kept_phrases(table) if p.column == "appliance"]
        phrases.write([replace(p, means=means.get(p.phrase, "")) for p in found], table)
        made = replace(made, mapping=phrases.read_back(table, made.mapping, dryer))
    return import_log(made, dryer, data)


VALUES = [*["Fridge"] * 9, *["Dryer atop washer"] * 6, *["stack"] * 5]


def test_every_value_is_counted_and_none_is_left_out_unseen(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Other machines by value; two machines and unknown ones kept, and shown first."""
    report = _read(_log(tmp_path, VALUES), data, dryer)
    assert report.used == 71
    assert "appliance: left out as other machines: 'Fridge' 9." in report.notes
    both, unknown = (a for a in report.alarms if a.startswith("appliance:"))
    assert both.startswith("appliance: 'Dryer atop washer' 6: a dryer and another machine; kept as the dryer's.")
    assert unknown.startswith("appliance: 'stack' 5: which machine is that?")
    looked = {
        p.phrase for p in phrases.kept_phrases(files_of("shop", data).phrases) if p.odd and p.column == "appliance"
    }
    assert looked == {"Dryer atop washer", "stack"}


def test_what_the_table_says_of_a_value_holds(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Either way, whatever the words of the file say, and the questions are gone."""
    path = _log(tmp_path, VALUES)
    _read(path, data, dryer)
    report = _read(path, data, dryer, {"stack": "other", "Fridge": "Dryer", "Dryer atop washer": "dryer"})
    assert [a for a in report.alarms if a.startswith("appliance:")] == []
    assert report.notes.count("appliance: left out as other machines: 'stack' 5.") == 1
    assert len(read_clean(files_of("shop", data).clean)[JOB]) == 75
    with pytest.raises(UnknownName, match=r"dryer.*other"):
        _read(path, data, dryer, {"stack": "washer"})


def test_danger_at_other_machines_drowns_none_of_the_dryers(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """The dryer's rows first, each; the others' in one line behind, with their rows, and marked in the file of rows set aside."""
    path = _log(tmp_path, ["Cooker"] * 20, "strong gas smell in kitchen")
    told = cleaning_report.danger_lines(_read(path, data, dryer))
    assert told[:2] == ["DANGER told of in 1 row. Read it first: was it dealt with?", "  row 2, complaint: 'gas smell'"]
    assert told[2].startswith(
        "DANGER, other machines: 20 rows left out (row 62, row 63, row 64, row 65, row 66, ...): 'gas smell' 20."
    )
    assert len(told) == 3
    with files_of("shop", data).aside.open(encoding="utf-8-sig", newline="") as handle:
        whys = [line["why"] for line in csv.DictReader(handle)]
    assert whys == ["is about another machine. DANGER: 'gas smell'"] * 20
