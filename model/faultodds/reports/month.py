"""The manager's month: jobs, callbacks, parts that were not needed, minutes, how far the program's own odds held, the shelf.

What was wrong is judged by everything known at the end of a job: `Belief.original`, the machine as it came in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime

from msgspec import Struct

from faultodds.advice import money, percent
from faultodds.belief import Appliance, Belief, Evidence, infer
from faultodds.cards import chapters, leading, mended_by
from faultodds.errors import ClashError, FaultoddsError
from faultodds.job import Job, situation_of
from faultodds.knowledge import Knowledge, repair_modes
from faultodds.reports.blocks import Block, Page, table
from faultodds.reports.month_log import LogMonth, log_blocks, minute_rows

# With fewer jobs than this a score is mostly chance, and the page says so.
FEW = 20
PARTS_SHOWN = 10
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Held(Struct, frozen=True):
    """One job: the chance that the program gave, before the first repair, to what the likeliest fault's usual repair puts right;
    and whether it was there, judged by everything known at the end."""

    job: str
    chance: float
    held: bool


class Month(Struct, frozen=True):
    """One month of one appliance. `ended`: how many jobs of the month stand at each ending; `back`: complaints that came back in
    the month; `wrong`: (job, repair) of parts fitted that were more likely not needed; `minutes`: of each technician, "" for
    nobody named, with the jobs they are from; `held`: jobs that can be scored; `left_out`: jobs that cannot, or of another kind."""

    name: str
    jobs: int
    ended: dict[str, int]
    back: tuple[str, ...]
    fitted: int
    wrong: tuple[tuple[str, str], ...]
    minutes: dict[str, tuple[float, int]]
    held: tuple[Held, ...]
    left_out: int

    @property
    def brier(self) -> float | None:
        """Mean squared difference of the chances from what held: 0 is best, 0.25 is what a coin's odds get."""
        return sum((h.chance - h.held) ** 2 for h in self.held) / len(self.held) if self.held else None


def month_named(text: str | None, today: date) -> str:
    """YYYY-MM from what was typed; this month for nothing."""
    if text is None:
        return f"{today:%Y-%m}"
    try:
        return f"{date.fromisoformat(f'{text.strip()}-01'):%Y-%m}"
    except ValueError:
        raise FaultoddsError(f"'{text}' is no month. Type it as YYYY-MM, for example {today:%Y-%m}.") from None


def month_of(appliance: Appliance, jobs: Sequence[Job], name: str) -> Month:
    """The month called `name` (YYYY-MM), of the jobs that were begun in it; callbacks by the day on which they came."""
    k = appliance.knowledge
    own = [job for job in jobs if job.appliance == k.appliance.id]
    begun = [job for job in own if f"{job.opened_at.astimezone():%Y-%m}" == name]
    back = [job.id for job in own for r in job.returns if f"{r.on:%Y-%m}" == name]
    ended: dict[str, int] = {}
    minutes: dict[str, tuple[float, int]] = {}
    wrong, held, fitted, left = list[tuple[str, str]](), list[Held](), 0, 0
    for job in begun:
        ended[job.outcome or "open"] = ended.get(job.outcome or "open", 0) + 1
        who = " and ".join(job.kept("technician"))
        if job.minutes is not None:
            sum_, count = minutes.get(who, (0.0, 0))
            minutes[who] = (sum_ + job.minutes, count + 1)
        parts = _parts(k, job)
        fitted += len(parts)
        try:
            judged = _judged(appliance, job)
        except ClashError:
            judged = None
        if judged is None:
            left += 1
            continue
        end, score = judged
        wrong += [(job.id, part) for part in parts if _there(end, _mends(k, part)) < 0.5]
        held.append(score)
    return Month(name, len(begun), ended, tuple(back), fitted, tuple(wrong), minutes, tuple(held), left)


def _parts(k: Knowledge, job: Job) -> list[str]:
    """The repairs of the first visit that fitted a part."""
    first = job.repairs[: job.returns[0].stage] if job.returns else job.repairs
    return [n for n in dict.fromkeys(first) if n in k.repair and k.repair[n].cost > 0 and not k.repair[n].by_others]


def _mends(k: Knowledge, repair: str) -> list[str]:
    return repair_modes(k, k.repair[repair])


def _judged(appliance: Appliance, job: Job) -> tuple[Belief, Held] | None:
    """The belief at the end of a closed job on which something was repaired, and how its first odds held."""
    if not job.is_closed or not job.repairs:
        return None
    k, told = appliance.knowledge, chapters(appliance, job)
    first, end = told[0].belief, told[-1].belief
    modes = _mends(k, mended_by(k, leading(first, k))[0])
    return end, Held(job.id, _there(first, modes), _there(end, modes) >= 0.5)


def _there(belief: Belief, modes: Sequence[str]) -> float:
    """The chance that one of these faults was there in the machine as it came in."""
    s = belief.suspects
    has = s.member[:, [s.mode_index[m] for m in modes]].any(axis=1)
    return float(belief.original[has].sum())


def month_page(appliance: Appliance, month: Month, day: date, logs: Sequence[LogMonth] = ()) -> Page:
    """The month on a page, with what would pay to carry for as many calls, and what imported `logs` hold of it."""
    k = appliance.knowledge
    blocks = [
        Block("text", _in_short(month, logs)),
        *table("How the jobs stand", ("", ""), [(_ENDED[e], str(n)) for e, n in sorted(month.ended.items())]),
        *table("Came back", ("Job",), [(each,) for each in month.back]),
        *table(
            "Parts fitted that were more likely not needed",
            ("Job", "Part"),
            [(j, k.repair[p].title) for j, p in month.wrong],
        ),
        *table("Minutes", ("Technician", "Minutes", "Jobs", "A job"), minute_rows(month.minutes)),
        Block("head", "How far the program's own odds held"),
        *(Block("text", text) for text in _calibration(month)),
        *_shelf(appliance, month),
        *log_blocks(k, logs),
    ]
    foot = (
        f"Page of {day:%Y-%m-%d}. Jobs not judged (open, nothing repaired, or findings that clash): {month.left_out}.",
        "Numbers: "
        + ("the knowledge file's own" if appliance.revision == "file" else f"revision {appliance.revision}")
        + ".",
    )
    return Page(f"{month.name}: {k.appliance.title}", tuple(blocks), foot)


_ENDED = {"gone": "Fault gone", "referred": "Handed over", "came_back": "Came back, open", "open": "Still open"}


def _in_short(month: Month, logs: Sequence[LogMonth]) -> str:
    visits = sum(log.visits for log in logs)
    more = f" Imported logs hold {visits} visits of it, told at the end; they do not count above." if visits else ""
    if not month.jobs and not month.back:
        return f"No jobs were begun in this program in this month, and none came back.{more}"
    wrong = (
        f"{len(month.wrong)} of {month.fitted} parts fitted were more likely not needed"
        if month.fitted
        else "no part was fitted"
    )
    return f"Jobs begun: {month.jobs}; complaints that came back: {len(month.back)}; {wrong}.{more}"


def _calibration(month: Month) -> Iterator[str]:
    score, count = month.brier, len(month.held)
    if score is None:
        yield "No closed job with a repair: nothing to hold the odds against."
        return
    said, held = sum(h.chance for h in month.held) / count, sum(h.held for h in month.held)
    yield (
        f"Before the first repair the likeliest repair was given {percent(said)} on average; it was the one on {held} of {count} "
        f"jobs ({percent(held / count)}), judged by all that was known at the end."
    )
    yield f"Brier score {score:.3f} (0 is best; always saying one half gets 0.250)."
    if count < FEW:
        yield f"So few jobs ({count}) do not tell skill from luck: look again at {FEW} or more."


def _shelf(appliance: Appliance, month: Month) -> Iterator[Block]:
    """What pays to carry for as many calls as the month had, of the usual mix."""
    if not month.jobs:
        return
    from faultodds.stock import Planner, Stock

    belief = infer(appliance.suspects, Evidence())
    nobody = Job("", appliance.knowledge.appliance.id, "", _EPOCH)
    calls = min(month.jobs, 500)
    shelf = Planner(Stock(appliance, belief, situation_of(appliance, nobody)), calls).best()
    k = appliance.knowledge

    def cash(amount: float) -> str:
        return money(amount, k.costs.currency)

    rows = [
        (k.repair[c.name].title, str(c.count), cash(c.price), f"{c.used:.2g}", cash(c.worth - c.carrying))
        for c in shelf.copies[:PARTS_SHOWN]
    ]
    heads = ("Part", "Carry", "Each", "To be used", "Saves")
    yield from table(
        f"Parts that pay to carry, for {calls} {'calls' if calls > 1 else 'call'} of the usual mix", heads, rows
    )
