"""What a clean log holds: months, how often each check was done and what it showed, repairs, callbacks, gaps."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from faultodds.joblog import clean
from faultodds.joblog.by_technician import Record, add_records, differences

if TYPE_CHECKING:
    import pandas as pd

ENOUGH: Final = 10
"""Results of a check from which its record is judged."""
HARDLY_NORMAL: Final = 0.03
LONG_GAP_DAYS: Final = 21


@dataclass
class ColumnSeen:
    """One fact, symptom or check: visits it is known on, and how often each answer stands (split findings by weight)."""

    known: int = 0
    answers: Counter[str] = field(default_factory=Counter)


@dataclass
class Description:
    """A log in figures. `bad_only` lists symptoms and checks of which hardly a normal result was ever written down: where one is
    blank it was not looked for, or was looked for and fine, and the log cannot tell which."""

    visits: int = 0
    months: Counter[str] = field(default_factory=Counter)
    people: dict[str, Record] = field(default_factory=dict)
    branches: Counter[str] = field(default_factory=Counter)
    facts: dict[str, ColumnSeen] = field(default_factory=dict)
    found: dict[str, ColumnSeen] = field(default_factory=dict)
    after: Counter[str] = field(default_factory=Counter)
    repairs: Counter[str] = field(default_factory=Counter)
    no_repair: int = 0
    ended: Counter[str] = field(default_factory=Counter)
    back_after: list[float] = field(default_factory=list)
    back_by_repair: Counter[str] = field(default_factory=Counter)
    without_day: int = 0
    gaps: list[tuple[str, str, int]] = field(default_factory=list)
    bad_only: list[str] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """The description as plain data, for JSON."""
        seen = {
            part: {name: {"visits": s.known, "answers": _rounded(s.answers)} for name, s in group.items()}
            for part, group in (("facts", self.facts), ("found", self.found))
        }
        return {
            "visits": self.visits,
            "months": dict(sorted(self.months.items())),
            "branches": dict(self.branches.most_common()),
            "technicians": {name: asdict(record) for name, record in sorted(self.people.items())},
            "technicians_apart": differences(self.people),
            **seen,
            "run_after": _rounded(self.after),
            "repairs": dict(self.repairs.most_common()),
            "visits_without_repair": self.no_repair,
            "ended": dict(self.ended.most_common()),
            "back_after_days": sorted(self.back_after),
            "came_back_after": dict(self.back_by_repair.most_common()),
            "without_day": self.without_day,
            "gaps": [{"from": a, "to": b, "days": n} for a, b, n in self.gaps],
            "bad_results_only": self.bad_only,
        }


def _rounded(counts: Counter[str]) -> dict[str, float]:
    return {name: round(n, 1) for name, n in counts.most_common()}


def describe(path: Path, normal: dict[str, str] | None = None) -> Description:
    """Describe the clean log at `path`. `normal` maps symptoms and checks to their normal outcome: those with bad results only
    are flagged."""
    found, days = Description(), set[str]()
    for piece in clean.read_chunks(path):
        found.visits += len(piece)
        for name in piece.columns:
            _add_column(found, str(name), piece)
        _add_endings(found, piece)
        add_records(found.people, piece)
        if clean.DAY in piece:
            days.update(piece[clean.DAY].dropna().dt.strftime("%Y-%m-%d").unique())
    found.gaps = _gaps(sorted(days))
    found.bad_only = [n for n, seen in found.found.items() if normal and n in normal and _bad_only(seen, normal[n])]
    return found


def _add_column(found: Description, name: str, piece: pd.DataFrame) -> None:
    kind, _, rest = name.partition(":")
    if kind + ":" in (clean.FACT, clean.FOUND):
        group = found.facts if kind + ":" == clean.FACT else found.found
        _add_answers(group.setdefault(rest, ColumnSeen()), piece[name])
    elif kind + ":" == clean.AFTER:
        seen = ColumnSeen()
        _add_answers(seen, piece[name])
        found.after.update(seen.answers)
    elif name == clean.DAY:
        found.without_day += int(piece[name].isna().sum())
        found.months.update(piece[name].dropna().dt.strftime("%Y-%m").value_counts().to_dict())
    elif name == clean.BRANCH:
        found.branches.update(_counts(piece[name]))
    elif name == clean.REPAIRS:
        for text, n in _counts(piece[name]).items():
            found.repairs.update(dict.fromkeys(text.split(";"), n))
        found.no_repair += int(piece[name].isna().sum())


def _counts(column: pd.Series[Any]) -> dict[str, int]:
    return {str(text): int(n) for text, n in column.value_counts().items() if n}


def _add_answers(seen: ColumnSeen, column: pd.Series[Any]) -> None:
    for text, n in _counts(column).items():
        seen.known += n
        weights = clean.weights(text)
        total = sum(weights.values())
        for outcome, weight in weights.items():
            seen.answers[outcome] += n * weight / total  # type: ignore[assignment]


def _add_endings(found: Description, piece: pd.DataFrame) -> None:
    if clean.ENDED not in piece:
        return
    found.ended.update(_counts(piece[clean.ENDED]))
    back = piece[piece[clean.ENDED] == clean.CAME_BACK]
    if clean.BACK_AFTER in piece:
        found.back_after += [float(days) for days in back[clean.BACK_AFTER].dropna()]
    if clean.REPAIRS in piece:
        for text, n in _counts(back[clean.REPAIRS]).items():
            found.back_by_repair.update(dict.fromkeys(text.split(";"), n))


def _bad_only(seen: ColumnSeen, normal: str) -> bool:
    return seen.known >= ENOUGH and seen.answers[normal] < HARDLY_NORMAL * seen.known


def _gaps(days: list[str]) -> list[tuple[str, str, int]]:
    """Stretches of more than `LONG_GAP_DAYS` days without a visit."""
    import datetime as dt
    from itertools import pairwise

    found = []
    for one, other in pairwise(days):
        length = (dt.date.fromisoformat(other) - dt.date.fromisoformat(one)).days
        if length > LONG_GAP_DAYS:
            found.append((one, other, length))
    return found
