"""One odd cell, whatever is in it: no reader of any column stumbles over it, and it decides nothing about a log."""

from __future__ import annotations

import random

from faultodds.job import asked
from faultodds.joblog import likely, money_and_time as amounts
from faultodds.joblog.cells import CellReader
from faultodds.joblog.columns import parser_of
from faultodds.joblog.mapping import KINDS, Column
from faultodds.joblog.propose import propose
from faultodds.knowledge import Knowledge

ODD = [
    *(
        "1.2.3",
        "12.03.22",
        "555.123.4567",
        "679.555.0199",
        "1,,2",
        ",",
        ".",
        "-",
        "--",
        "1.",
        ".5.",
        "1/0",
        "0/0",
        "1/0 h",
    ),
    *("1e308", "1e999", "inf", "nan", "-inf", "9" * 5000, "0" * 5000, "0." + "1" * 400, "1:99:99", "99:99", "12h99m"),
    *(
        "²",
        "①",
        "٣٤",
        "½",
        "1²",
        "³/²",
        "\x00",
        "\x1b[31mred",
        "\ud800",
        "\u202e12",
        "=1+1",
        "'",
        "''",
        "[]",
        "{}",
        "%",
    ),
    *(
        "5 % %",
        "-5 k",
        "1k2k3",
        "OL/OL/OL/OL",
        "/",
        "//",
        "1//2",
        "(",
        ")",
        "\\",
        "*",
        "+",
        "?",
        "??",
        "+/-",
        "1 +/- 2 +/- 3",
    ),
    *(
        "0:70|1:30",
        "a:b|c:d",
        "open:0.7|closed",
        "x=1;y=2",
        ";;;",
        "||",
        "\n\n",
        "\t",
        "per",
        "/per half ft",
        "84 s per 0 ft",
    ),
    *(
        "7 s/1/0 ft",
        "rated",
        "rated rated",
        "opened at , rated ",
        "32/0/1999",
        "00/00/0000",
        "29 Feb 2023",
        "Smarch 5, 2020",
    ),
]
ALPHABET = "0123456789..,,//--:: kKmMohlOLftFCsxX%'\"()=|;+²½"


def columns(knowledge: Knowledge) -> list[Column]:
    """A column of every kind, one for each fact, symptom and check."""
    plain = [Column("c", kind) for kind in KINDS if kind not in ("fact", "finding")]  # type: ignore[arg-type]
    facts = [Column("c", "fact", (name,)) for name in asked(knowledge)]
    return plain + facts + [Column("c", "finding", (name,)) for name in knowledge.observables]


def cells() -> list[str]:
    """The list above and some hundreds drawn from the characters of readings."""
    draw = random.Random(3)
    return ODD + ["".join(draw.choice(ALPHABET) for _ in range(draw.randint(1, 9))) for _ in range(300)]


def test_no_cell_trips_a_reader(dryer: Knowledge) -> None:
    """Every reader with every assumption that its own sample would give it; every parser of amounts."""
    odd = cells()
    sample = likely.samples(["c"], [[text] for text in odd])[0]
    for column in columns(dryer):
        target = (column.kind, column.of[0] if column.of else "")
        reader = CellReader(Column("c", column.kind, column.of, assume=likely.assumed(dryer, target, sample)), dryer)
        for text in odd:
            reader.read(text)
        parse = parser_of(column)
        for text in odd if parse else ():
            found = parse(text)
            assert found is None or 0 <= found < 1e6
    for unit in amounts.UNITS:
        assert [amounts.amount(text, unit) for text in odd]


def test_a_log_of_nothing_but_odd_cells_is_proposed(dryer: Knowledge) -> None:
    """Whatever its headings say."""
    odd = cells()
    headings = [
        "job",
        "date",
        "coil_ohms",
        "igniter_ohms",
        "minutes",
        "total",
        "hood",
        "thermistor",
        "clocking",
        "notes",
    ]
    assert propose(dryer, likely.samples(headings, [[text] * len(headings) for text in odd]))
