"""Dates, times, telephone numbers, money, job numbers: whatever reading's column they stand in, they are no reading."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from faultodds.job import asked
from faultodds.joblog import likely
from faultodds.joblog.cells import CellReader
from faultodds.joblog.mapping import Column
from faultodds.knowledge import Knowledge

MONTHS = ["Jan", "Feb", "Mar", "April", "May", "June", "Jul", "Aug", "Sept", "Oct", "Nov", "December"]
SEVERAL_PLACES = {"co_room"}
DRAWN = 90


def day(draw: random.Random) -> str:
    """A date in any common hand."""
    mark, year, month, number = draw.choice("/.-"), draw.randint(2015, 2026), draw.randint(1, 12), draw.randint(1, 28)
    return draw.choice(
        [
            f"{month}{mark}{number}{mark}{year}",
            f"{number:02}{mark}{month:02}{mark}{year % 100:02}",
            f"{year}-{month:02}-{number:02}",
            f"{year}/{month}/{number}",
            f"{year}{month:02}{number:02}",
            f"{number} {draw.choice(MONTHS)} {year}",
            f"{number}-{draw.choice(MONTHS)}-{year % 100:02}",
            f"{draw.choice(MONTHS)} {number}",
            f"Mon {month}/{number}/{year} 10:30",
        ]
    )


def time_of_day(draw: random.Random) -> str:
    """A time of day that is no length of time."""
    hour, minute = draw.randint(1, 12), draw.randint(0, 59)
    return draw.choice([f"{hour}:{minute:02} am", f"{hour}:{minute:02}pm", f"{hour:02}:{minute:02}:09", f"{hour} pm"])


def telephone(draw: random.Random) -> str:
    """A telephone number."""
    area, first, last = draw.randint(200, 999), draw.randint(200, 999), draw.randint(0, 9999)
    forms = [
        f"{area}-{last:04}",
        f"{area}-{first}-{last:04}",
        f"({area}) {first}-{last:04}",
        f"{area}.{first}.{last:04}",
    ]
    forms += [f"+1 {area} {first} {last:04}", f"{area}/{first}-{last:04}", f"{area}{first}{last:04}"]
    return draw.choice([*forms, f"tel {area}-{last:04}", f"{area}-{last:04} x12"])


def money(draw: random.Random) -> str:
    """A bill."""
    value = draw.randint(1, 99_999) / 100
    return draw.choice([f"${value:.2f}", f"{value:.2f} USD", f"€{value:.2f}", f"{value:.2f} dollars", f"-${value:.0f}"])


def job_number(draw: random.Random) -> str:
    """The number of a job."""
    number = draw.randint(1, 99_999)
    forms = [f"HL-{number}", f"J{number}", f"#{number}", f"INV-{number:05}", f"WO {number}", f"no. {number}"]
    return draw.choice([*forms, f"{draw.randint(2015, 2026)}-{number:05}", f"T-{number}/2"])


def ratio(draw: random.Random) -> str:
    """More numbers than any check has."""
    return "/".join(str(draw.randint(1, 2500)) for _ in range(draw.randint(4, 7)))


KINDS: list[Callable[[random.Random], str]] = [day, time_of_day, telephone, money, job_number, ratio]


@pytest.mark.parametrize("kind", KINDS)
def test_no_cell_that_is_no_reading_becomes_an_outcome(kind: Callable[[random.Random], str], dryer: Knowledge) -> None:
    """Thousands of cells, some for every column of readings and facts, read with nothing assumed and with what the sample gives."""
    draw = random.Random(15)
    places = [("finding", name) for name in dryer.observables] + [("fact", name) for name in asked(dryer)]
    for of, name in places:
        if kind is ratio and name in SEVERAL_PLACES:  # the worst of several places counts, as it does when typed
            continue
        cells = [kind(draw) for _ in range(DRAWN)]
        assume = likely.assumed(dryer, (of, name), likely.samples(["c"], [[text] for text in cells])[0])
        for given in ({}, assume):
            reader = CellReader(Column("c", of, (name,), assume=given), dryer)  # type: ignore[arg-type]
            assert {text: reader.read(text).said for text in cells if reader.read(text).said} == {}, name


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("fuse_continuity", "3/4/2022"),
        ("coil_ohms", "3.4.2022"),
        ("loads_per_week", "3/4/2022"),
        ("duct_cleaned", "8/2/2015"),
        ("age", "2018"),
        ("hood_air_speed", "900/700/2000"),
        ("vent_length", "10:44"),
    ],
)
def test_they_are_left_out(name: str, text: str, dryer: Knowledge) -> None:
    """A cell of one of them says nothing, and is counted."""
    kind = "fact" if name in asked(dryer) else "finding"
    cell = CellReader(Column("c", kind, (name,)), dryer).read(text)  # type: ignore[arg-type]
    assert (cell.said, cell.status in ("impossible", "unknown")) == ((), True)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("coil_ohms", "1150/1350/560"),
        ("hood_air_speed", "900-1100 fpm"),
        ("hood_air_speed", "1000-1100"),
        ("igniter_ohms", "120/120"),
        ("exhaust_cycling", "120-155F"),
        ("dry_time", "1:15"),
        ("dry_time", "9:30a - 10:15a"),
        ("verification_run", "0:45"),
        ("static_pressure", "3/16"),
        ("co_room", "12/9/120"),
        ("age", "7y"),
        ("loads_per_week", "5-7"),
    ],
)
def test_what_looks_like_them_is_read(name: str, text: str, dryer: Knowledge) -> None:
    """Windings, ranges, the same reading twice, lengths of time, fractions, several places."""
    kind = "fact" if name in asked(dryer) else "finding"
    assert CellReader(Column("c", kind, (name,)), dryer).read(text).said  # type: ignore[arg-type]
