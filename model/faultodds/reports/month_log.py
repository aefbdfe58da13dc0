"""What imported job logs hold of a month: visits, how they ended, the repairs that were done and how many came back, minutes."""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct

from faultodds.errors import FaultoddsError
from faultodds.joblog import (
    CAME_BACK,
    DAY,
    ENDED,
    GONE,
    MINUTES,
    REPAIRS,
    TECHNICIAN,
    Record,
    add_records,
    between,
    clean,
    differences,
    find_log,
    summaries,
)  # fmt: skip
from faultodds.knowledge import Knowledge
from faultodds.reports.blocks import Block, table

REPAIRS_SHOWN = 10
_ENDED = {
    GONE: "Fault gone",
    CAME_BACK: "Came back",
    "referred": "Handed over",
    "unknown": "Nothing done, or not known",
}


class LogMonth(Struct, frozen=True):
    """One month of an imported log: visits by ending; by repair the visits it was done on and those of them that came back; by
    technician's code the minutes and the visits they are from, and what became of the visits; `apart` says who differs from the
    others in the whole log, since a month is short. `damaged` says why the log cannot be read."""

    log: str
    source: str
    visits: int = 0
    ended: dict[str, int] = {}
    repairs: dict[str, tuple[int, int]] = {}
    minutes: dict[str, tuple[float, int]] = {}
    people: dict[str, Record] = {}
    apart: tuple[str, ...] = ()
    damaged: str = ""


def log_months(k: Knowledge, name: str, data: str | os.PathLike[str] | None = None) -> tuple[LogMonth, ...]:
    """The month called `name` (YYYY-MM) in every imported log of this appliance that has visits in it or cannot be read."""
    found = []
    for log in summaries(data):
        if log["appliance"] not in ("", k.appliance.id):
            continue
        try:
            month = _counted(str(log["log"]), str(log["source"]), name, data)
        except FaultoddsError as error:
            month = LogMonth(str(log["log"]), str(log["source"]), damaged=str(error))
        found += [month] if month.visits or month.damaged else []
    return tuple(found)


def _counted(log: str, source: str, name: str, data: str | os.PathLike[str] | None) -> LogMonth:
    visits, ended = 0, Counter[str]()
    done, back, timed = Counter[str](), Counter[str](), Counter[str]()
    minutes: dict[str, float] = {}
    people, ever = dict[str, Record](), dict[str, Record]()
    for piece in clean.read_chunks(find_log(log, data)):
        here = piece[piece[DAY].dt.strftime("%Y-%m") == name] if DAY in piece else piece.iloc[:0]
        visits += len(here)
        add_records(people, here)
        add_records(ever, piece)
        columns = [here[c].astype(object) if c in here else [None] * len(here) for c in _READ]
        for end, repairs, who, spent in zip(*columns, strict=True):
            ended[end if isinstance(end, str) else "unknown"] += 1
            names = [n for n in repairs.split(";") if n] if isinstance(repairs, str) else []
            done.update(names)
            back.update(names if end == CAME_BACK else [])
            if isinstance(spent, float) and not math.isnan(spent):
                code = who if isinstance(who, str) else ""
                minutes[code] = minutes.get(code, 0.0) + spent
                timed[code] += 1
    repairs_done = {n: (count, back[n]) for n, count in done.most_common()}
    spent = {w: (minutes[w], timed[w]) for w in sorted(timed)}
    return LogMonth(log, source, visits, dict(ended), repairs_done, spent, people, tuple(differences(ever)))


_READ = (ENDED, REPAIRS, TECHNICIAN, MINUTES)


def log_blocks(k: Knowledge, months: Sequence[LogMonth]) -> Iterator[Block]:
    """The month of each log on the page; nothing where there is no log."""
    for month in months:
        if month.damaged:
            yield Block("text", f"Log '{month.log}' could not be read, and nothing of it is here: {month.damaged}")
            continue
        of = f" ({month.source})" if month.source else ""
        yield from table(
            f"Imported log '{month.log}'{of}: {month.visits} {'visit' if month.visits == 1 else 'visits'}",
            ("", ""),
            [(words, str(month.ended[end])) for end, words in _ENDED.items() if month.ended.get(end)],
        )
        repairs = [(_title(k, n), str(count), str(back)) for n, (count, back) in month.repairs.items()]
        more = len(repairs) - REPAIRS_SHOWN
        yield from table("Repairs done", ("Repair", "Visits", "Came back"), repairs[:REPAIRS_SHOWN])
        if more > 0:
            yield Block("text", f"And {more} more repairs; all of them: faultodds log describe {month.log}")
        yield from table("Minutes", ("Technician", "Minutes", "Visits", "A visit"), minute_rows(month.minutes))
        yield from table("By technician; between: where the share truly lies, 90 % sure", _BY, _by(month.people))
        if month.apart:
            yield Block("text", f"Over the whole log: {' '.join(month.apart)}")


_BY = ("Technician", "Came back", "between", "1st fix failed", "between")


def _by(people: Mapping[str, Record]) -> list[tuple[str, ...]]:
    return [
        (
            name,
            f"{r.back} of {r.ended}",
            between(r.back, r.ended),
            f"{r.wrong} of {r.repaired}",
            between(r.wrong, r.repaired),
        )
        for name, r in sorted(people.items())
    ]


def _title(k: Knowledge, repair: str) -> str:
    return k.repair[repair].title if repair in k.repair else repair


def minute_rows(minutes: dict[str, tuple[float, int]]) -> list[tuple[str, ...]]:
    """Minutes by technician as rows of a table."""
    return [
        (who or "nobody named", f"{total:.0f}", str(count), f"{total / count:.0f}")
        for who, (total, count) in sorted(minutes.items())
    ]
