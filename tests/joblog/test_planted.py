"""People planted in every column of a log: nobody of them is in any file that an import keeps, nor in an export.

No code of a gate, an alarm or a lock-box is either, in however many rows it stands.
"""

from __future__ import annotations

import csv
import os
import random
import re
import stat
from dataclasses import replace
from pathlib import Path

import pyarrow.parquet as pq
import pytest

import planted
from faultodds.joblog import Keeper, draft, export_log, find_log, import_log, lines
from faultodds.knowledge import Knowledge
from run_cli import faultodds

DEMO = Path(__file__).parents[2] / "data_synthetic" / "demo" / "harbour_lane_jobs.csv"
ROWS = int(os.environ.get("FAULTODDS_PLANTED_ROWS", "200"))
"""With 20,000 rows there are 200 pieces in each column at 1 %, with 2,000 at 10 %."""


def shop_log(count: int) -> tuple[list[str], list[list[str]]]:
    """The demo's headings, and so many rows like its own with numbers that go on."""
    with DEMO.open(newline="", encoding="utf-8") as handle:
        headings, *rows = csv.reader(handle)
    return headings, [[f"HL-{1000 + n}", f"C-{51000 + n}", *rows[n % len(rows)][2:]] for n in range(count)]


def text_of(path: Path) -> str:
    """All that a file holds, as text."""
    if path.suffix != ".parquet":
        return path.read_text("utf-8", errors="replace")
    rows = pq.read_table(path).to_pylist()
    return str(pq.read_schema(path)) + "\n".join("\t".join(map(str, row.values())) for row in rows)


@pytest.mark.parametrize("share", planted.SHARES)
def test_nobody_planted_is_kept(share: float, tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """Names, telephones, addresses, mail, serial, card and social numbers in all columns, as whole cells or inside them."""
    headings, rows = shop_log(ROWS)
    odd, people = planted.plant(headings, rows, share, seed=7)
    path = tmp_path / "log.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([headings, *odd])
    found = draft(path, dryer, data=data)
    # So many people among the endings are asked about: here somebody has looked and said yes.
    report = import_log(replace(found, mapping=found.mapping.confirm()), dryer, data=data)
    export_log(find_log("log", data), tmp_path / "out.csv")
    kept = {p.name: text_of(p) for p in [*Path(data).rglob("*"), tmp_path / "out.csv"] if p.is_file()}
    kept["screen"] = "\n".join(lines(report))
    assert len(kept) == 8
    found = {name: planted.leaks(text, people) for name, text in kept.items()}
    assert {name: leaks for name, leaks in found.items() if leaks} == {}
    count = sum(map(len, people.values()))
    print(f"{count:,} pieces about people in {len(people)} columns, none kept")
    assert len(planted.leaks(path.read_text("utf-8"), people)) == count


def test_a_name_that_stands_in_many_rows_is_not_kept(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """One customer's name in the notes of many visits, which the customer column names as well, and one technician's."""
    headings, rows = shop_log(60)
    notes, customer, technician = (headings.index(name) for name in ("notes", "cust", "tech"))
    for row in rows[:20]:
        row[customer], row[notes] = "Marn Tolbrek", "call tolbrek first, Vaskholt knows her"
    for row in rows[20:40]:
        row[technician] = "Odel Vaskholt"
    path = tmp_path / "log.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([headings, *rows])
    import_log(draft(path, dryer, data=data), dryer, data=data)
    kept = "".join(text_of(p) for p in Path(data).rglob("*") if p.is_file()).casefold()
    assert "tolbrek" not in kept
    assert "vaskholt" not in kept
    assert "tech_1" in kept


def test_neither_a_branch_nor_a_heading_keeps_a_customer(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """The column of branches keeps those that have many visits; not a customer's name, number or address that is there as often,
    nor do headings keep a number or an address. The next log with these headings is read with the same mapping."""
    headings, rows = shop_log(90)
    people = ["Tolbrek", "555-0142", "12 Gormdahl St"]
    for n, row in enumerate(rows):
        row[headings.index("cust")] = "Marn Tolbrek" if n % 9 < 3 else f"Odel Vask{n}"
        row += [people[n % 9] if n % 9 < 3 else ["north", "Harbour Lane"][n % 2], "x"]
    path = tmp_path / "log.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([[*headings, "depot", "paid (ring 555-0177, 9 Gormdahl St)"], *rows])
    import_log(draft(path, dryer, data=data), dryer, data=data)
    kept = "".join(text_of(p) for p in Path(data).rglob("*") if p.is_file()).casefold()
    assert not [word for word in ("tolbrek", "0142", "gormdahl", "0177") if word in kept]
    assert draft(path, dryer, data=data).origin.endswith("log.mapping.toml")
    assert set(pq.read_table(find_log("log", data))["branch"].to_pylist()) == {"north", "Harbour Lane", None}


def test_files_of_a_log_are_the_users_alone(tmp_path: Path) -> None:
    """Files 0600, folders 0700, those of an export as well."""
    headings, rows = shop_log(30)
    path = tmp_path / "log.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([headings, *rows])
    data = tmp_path / "mine" / "data"
    assert faultodds("log", "import", str(path), "--yes", "--data", str(data)).code == 0
    assert faultodds("log", "export", "log", "--to", str(tmp_path / "out.csv"), "--data", str(data)).code == 0
    assert {stat.S_IMODE(p.stat().st_mode) for p in data.rglob("*") if p.is_file()} == {0o600}
    assert {stat.S_IMODE(p.stat().st_mode) for p in (data, data / "logs")} == {0o700}
    assert stat.S_IMODE((tmp_path / "out.csv").stat().st_mode) == 0o600


# --- codes ---

CODES = ("907", "4471", "86413", "583917")
FORMS = (
    "gate code {}",
    "gate {}",
    "alarm code {}",
    "alarm {}, dog in yard",
    "lock box {}",
    "lockbox no {}",
    "code is #{}#",
    "{} at gate",
    "{}",
    "igniter {}",
)
WRAPS = ("{cell}, {}", "{} {cell}", "{}", "{cell} ({})")
VISITS, SAID, MANY = 60, 14, 9
COLUMNS = ("notes", "complaint", "parts")


def written(code: str, spaced: int) -> str:
    """A code with its digits apart, or as it is."""
    return (code, "-".join((code[:2], code[2:])), " ".join(code), "/".join((code[:2], code[2:])))[spaced]


def holds(text: str, code: str) -> bool:
    """Whether a text holds a code, its digits apart or not."""
    runs = {re.sub(r"\D", "", run) for run in re.findall(r"\d(?:[ /#-]?\d)*", text)}
    return code in runs or code in re.findall(r"\d+", text)


@pytest.mark.parametrize("code", CODES, ids="abcd")  # no code in the name of the folder
@pytest.mark.parametrize("form", range(0, len(FORMS), 5))
def test_no_code_is_kept(code: str, form: int, tmp_path: Path, data: str) -> None:
    """In 14 of 60 rows, in remarks, complaints and work, alone and beside what the technician wrote."""
    headings, rows = shop_log(VISITS)
    draw = random.Random(f"{code} {form}")
    for heading in COLUMNS:
        place = headings.index(heading)
        said, wrap = FORMS[form + draw.randrange(5)].format(written(code, draw.randrange(4))), draw.choice(WRAPS)
        cell = draw.choice(rows)[place]
        for row in draw.sample(rows, SAID):
            row[place] = wrap.format(said, cell=cell)
    path = tmp_path / "log.csv"
    with path.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([headings, *rows])
    screen = faultodds("log", "import", str(path), "--yes", "--data", data)
    assert screen.code == 0, screen
    kept = {p.name: text_of(p) for p in Path(data).rglob("*") if p.is_file()} | {
        "screen": screen.out.replace(str(tmp_path), "")
    }
    assert len(kept) >= 7
    assert holds(path.read_text("utf-8"), code)
    assert [name for name, text in kept.items() if holds(text, code)] == []


def test_no_sentence_with_a_code_is_plain(dryer: Knowledge) -> None:
    """Every code of 3 to 6 digits, in every form and with its digits apart, between words that a shop writes everywhere."""
    keeper, draw = Keeper(dryer), random.Random(3)
    for _ in range(3000):
        code = "".join(draw.choice("0123456789") for _ in range(draw.randint(3, 6)))
        said = draw.choice(FORMS).format(written(code, draw.randrange(4)))
        text = draw.choice(WRAPS).format(said, cell=draw.choice(("no heat", "repl igniter", "cleaned vent, 45 min")))
        assert keeper.kept({text: SAID, **dict.fromkeys(re.findall("[a-z]+", text), SAID)})[text] == 0, text


@pytest.mark.parametrize("text", ["120", "120/120", "1.2k/1.35k/560", "180 ohms", "3.5 in wc", "140 min", "2022-03-04"])
def test_readings_stay(text: str, dryer: Knowledge) -> None:
    """A cell of a check's own column that was read, and nothing but numbers and units."""
    keeper = Keeper(dryer)
    assert keeper.kept({text: 2}, lambda _: True) == {text: 2}
    assert keeper.kept({f"gate {text}": 9}, lambda _: True) == ({f"gate {text}": 9} if text[-1].isalpha() else {})


@pytest.mark.parametrize("text", ["ran 45 min", "co 80 ppm", "igniter 180 ohms", "replaced 2 rollers"])
def test_amounts_in_sentences_stay(text: str, dryer: Knowledge) -> None:
    """Two digits, or a unit written out behind."""
    assert Keeper(dryer).kept({text: MANY}) == {text: MANY}
