"""Cells of a job log: words drawn for codes, numbers in several hands, and the columns of the intake."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from .jobs import Jobs
from .psychro import Codes

Text = NDArray[np.object_]


def choose(options: Sequence[str], n: int, rng: Generator) -> Text:
    """Draw `n` of some words."""
    table = np.array(options, dtype=object)
    return table[rng.integers(0, len(options), n)]


def by_code(table: Sequence[Sequence[str]], codes: Codes, rng: Generator) -> Text:
    """A word for every code, drawn from that code's spellings; empty for a negative code."""
    out = np.full(len(codes), "", dtype=object)
    for code, options in enumerate(table):
        rows = np.flatnonzero(codes == code)
        out[rows] = choose(options, len(rows), rng)
    return out


def join(parts: Sequence[Text], between: str) -> Text:
    """Join the non-empty texts of every row."""
    return np.array([between.join([t for t in row if t]) for row in zip(*parts, strict=True)], dtype=object)


def fact_cells(jobs: Jobs, rng: Generator) -> dict[str, Text]:
    """The columns of the intake: numbers rounded, in words or left out as customers tell them."""
    f, h = jobs.facts, jobs.cases.houses
    hist = [
        by_code((("",), ("opened b4", "been apart")), f["opened_before"], rng),
        by_code((("",), ("just moved", "after move"), ("prev svc", "worked on recently")), f["after"], rng),
    ]
    feet = _numbers(h.duct_ft, f["vent_length"], ("{:.0f} ft", "{:.0f}'", "{:.0f}", "abt {:.0f}ft"), rng)
    metres = np.flatnonzero((rng.random(len(jobs)) < 0.08) & (feet != ""))
    feet[metres] = [f"{x * 0.3048:.1f} m" for x in h.duct_ft[metres]]
    return {
        "age": _numbers(h.age, f["age"], ("{:.0f}", "{:.0f} yr", "~{:.0f}", "{:.0f}y"), rng),
        "fuel": by_code((("NG", "nat", "gas", ""), ("LP", "propane")), f["fuel"], rng),
        "ctrl": by_code((("timer", "mech", "tmr"), ("board", "elec", "ctrl bd")), jobs.equipment["control"], rng),
        "auto": by_code((("n", "no", ""), ("y", "yes", "Y")), jobs.equipment["auto_dry"], rng),
        "vent": by_code(
            (("rigid", "metal", "RIGID"), ("semi", "semi-rigid", "semi rgd"), ("foil", "FOIL", "slinky")),
            f["vent_material"],
            rng,
        ),
        "vent_len": feet,
        "cleaned": _cleaned(h.months_since_clean, f["duct_cleaned"], rng),
        "loads_wk": _numbers(h.loads, f["loads_per_week"], ("{:.0f}", "{:.0f}/wk", "{:.0f}", "{:.0f} wk"), rng),
        "place": by_code((("laundry rm", "open", "bsmt", ""), ("closet", "clst")), f["place"], rng),
        "onset": by_code((("sudden", "all at once"), ("gradual", "crept up", "slowly")), f["onset"], rng),
        "hist": join(hist, "; "),
    }


def _numbers(values: NDArray[np.float64], known: Codes, hands: Sequence[str], rng: Generator) -> Text:
    """Round numbers in one of several hands; empty where nobody knows."""
    out = np.full(len(values), "", dtype=object)
    rows = np.flatnonzero(known >= 0)
    pick = rng.integers(0, len(hands), len(rows)).tolist()
    out[rows] = [hands[p].format(v) for p, v in zip(pick, np.maximum(values[rows], 1.0).tolist(), strict=True)]
    return out


def _cleaned(months: NDArray[np.float64], known: Codes, rng: Generator) -> Text:
    """Time since the duct was cleaned: months, years, "never"."""
    out = _numbers(months, known, ("{:.0f} mo", "{:.0f}mo", "{:.0f} months"), rng)
    long = np.flatnonzero((months > 20.0) & (known >= 0))
    out[long] = [f"{m / 12.0:.0f} yr" if m < 60.0 else "never" for m in months[long].tolist()]
    return out
