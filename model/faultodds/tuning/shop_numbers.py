"""What a log says of a shop's own money, minutes and people, as a shop file to look over.

Only visits with one repair speak: what the others took cannot be parted. Minutes are fitted as a repair's usual time on the job
times a technician's pace (medians in turn, as Tukey polished tables: from memory), the hour's labour as how far the bill rises
with the minutes among jobs of one repair, a part's price as what its jobs cost more than those that need no part.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from faultodds.joblog import BILL, MINUTES, REPAIRS, TECHNICIAN, Record, add_records, differences
from faultodds.knowledge import Floats, Knowledge

if TYPE_CHECKING:
    import pandas as pd

ENOUGH: Final = 10
"""Jobs behind a number, at the least."""
SURE: Final = 4.0
"""Standard errors that the hour's labour lies from nothing, at the least."""
ROUNDS: Final = 20


@dataclass(frozen=True)
class Person:
    """One technician: `pace` times the usual minutes (None with too few jobs), and what became of the visits."""

    name: str
    pace: float | None
    record: Record


@dataclass(frozen=True)
class ShopNumbers:
    """What a log says. `minutes`: usual time on the job by repair, with the jobs behind it; `overhead`: what of that is not the
    repair, by the file's own minutes; `labour_rate`: None where bills do not follow the minutes; `parts`: as charged."""

    minutes: dict[str, tuple[float, int]]
    overhead: float
    labour_rate: float | None
    parts: dict[str, tuple[float, int]]
    people: tuple[Person, ...]


def shop_numbers(frame: pd.DataFrame, knowledge: Knowledge) -> ShopNumbers:
    """Read a clean log's minutes, bills, technicians and endings."""
    one = frame[np.isin(_texts(frame, REPAIRS), list(knowledge.repair))]
    who = _texts(one, TECHNICIAN)
    repair = _texts(one, REPAIRS)
    minutes, bill = _numbers(one, MINUTES), _numbers(one, BILL)
    usual, pace = _polished(minutes, repair, who)
    known = {name: (usual[name], jobs) for name, jobs in _counted(repair[minutes > 0]).items() if jobs >= ENOUGH}
    off = [at - knowledge.repair[name].minutes for name, (at, _) in known.items()]
    rate = _labour_rate(bill, minutes, repair)
    parts = _parts(knowledge, bill - (rate or 0.0) * np.nan_to_num(minutes) / 60.0, repair)
    return ShopNumbers(known, max(0.0, float(np.median(off))) if off else 0.0, rate, parts, _people(frame, pace))


def _polished(minutes: Floats, repair: Floats, who: Floats) -> tuple[dict[str, float], dict[str, float]]:
    """Usual minutes by repair and pace by technician, the pace of the middle job being 1."""
    told = minutes > 0
    logs = np.log(np.where(told, minutes, 1.0))
    by_repair, by_who = np.zeros(len(logs)), np.zeros(len(logs))
    for _ in range(ROUNDS):
        for out, other, names in ((by_repair, by_who, repair), (by_who, by_repair, who)):
            for name in np.unique(names[told]):
                at = told & (names == name)
                out[at] = np.median((logs - other)[at])
        by_who[who == ""] = 0.0
        if told.any():
            by_who -= np.median(by_who[told])
    usual = {str(n): float(np.exp(by_repair[told & (repair == n)][0])) for n in np.unique(repair[told])}
    jobs = _counted(who[told])
    pace = {n: float(np.exp(by_who[told & (who == n)][0])) for n, count in jobs.items() if n and count >= ENOUGH}
    return usual, pace


def _labour_rate(bill: Floats, minutes: Floats, repair: Floats) -> float | None:
    """Money an hour: how the bill rises with the minutes within jobs of one repair; None when it does not do so for sure."""
    told = (bill > 0) & (minutes > 0)
    hours, money = minutes[told] / 60.0, bill[told]
    same = repair[told]
    for name in np.unique(same):
        hours[same == name] -= hours[same == name].mean()
        money[same == name] -= money[same == name].mean()
    free = len(hours) - len(np.unique(same)) - 1
    spread = float(hours @ hours)
    if free < ENOUGH or spread <= 0:
        return None
    slope = float(hours @ money) / spread
    error = math.sqrt(float(((money - slope * hours) ** 2).sum()) / free / spread)
    return slope if slope > SURE * error and slope > 0 else None


def _parts(knowledge: Knowledge, rest: Floats, repair: Floats) -> dict[str, tuple[float, int]]:
    """What jobs of each repair cost beside the labour, less what jobs that need no part cost."""
    bare = np.array([bool(name) and knowledge.repair[name].cost == 0 for name in repair], dtype=bool) & np.isfinite(
        rest
    )
    if bare.sum() < ENOUGH:
        return {}
    start = float(np.median(rest[bare]))
    out = {}
    for name in np.unique(repair):
        at = (repair == name) & np.isfinite(rest)
        price = float(np.median(rest[at])) - start if at.any() else 0.0
        if knowledge.repair[name].cost > 0 and at.sum() >= ENOUGH and price > 0:
            out[str(name)] = (price, int(at.sum()))
    return out


def _people(frame: pd.DataFrame, pace: dict[str, float]) -> tuple[Person, ...]:
    records: dict[str, Record] = {}
    add_records(records, frame)
    return tuple(Person(name, pace.get(name), record) for name, record in sorted(records.items()))


def _texts(frame: pd.DataFrame, column: str) -> Floats:
    given = frame[column].astype(object) if column in frame else [""] * len(frame)
    return np.array([each if isinstance(each, str) else "" for each in given], dtype=object)


def _numbers(frame: pd.DataFrame, column: str) -> Floats:
    return frame[column].to_numpy(dtype=float) if column in frame else np.full(len(frame), np.nan)


def _counted(names: Floats) -> dict[str, int]:
    found, counts = np.unique(names.astype(str), return_counts=True)
    return {str(n): int(c) for n, c in zip(found, counts, strict=True)}


# --- as a shop file ------------------------------------------------------------------------------------------------


def shop_text(found: ShopNumbers, knowledge: Knowledge, log: str) -> str:
    """The numbers as a shop file, with what is behind each; what they rest on stands as a remark above it."""
    rate = "# labour_rate: the bills do not follow the minutes (flat rates?), or too few say both"
    if found.labour_rate is not None:
        rate = f"labour_rate = {found.labour_rate:.0f}  # an hour, as far as bills rise with minutes"
    lines = [
        f"# Proposed from the job log '{log}'. Nothing uses it until you say so: look it over, then --shop with this file.",
        "# Prices are what customers were charged; only jobs with one repair speak.",
        "",
        "[costs]",
        rate,
        "",
        "[parts]",
        *(f"{name} = {price:.0f}  # {jobs} jobs" for name, (price, jobs) in found.parts.items()),
        "",
        f"[minutes]  # time on the job less {found.overhead:.0f} min for getting at it, finding and proving it, the same for all",
    ]
    for name, (at, jobs) in found.minutes.items():
        lines.append(f"{name} = {max(1.0, at - found.overhead):.0f}  # {jobs} jobs, usually {at:.0f} min in all")
    lines += ["", *(f"# {told}" for told in differences({p.name: p.record for p in found.people}))]
    for person in found.people:
        lines += ["", f"[technician.{json.dumps(person.name, ensure_ascii=False)}]", *_person_lines(person)]
    return "\n".join(lines) + "\n"


def _person_lines(p: Person) -> list[str]:
    pace = "# pace: too few timed jobs" if p.pace is None else f"pace = {min(5.0, max(0.2, p.pace)):.2f}"
    return [
        pace,
        f"# came back: {p.record.came_back}; in brackets where the share truly lies, 90 % sure",
        f"# first repair failed: {p.record.first_failed}",
    ]
