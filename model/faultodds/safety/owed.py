"""What a call leaves owing: the cause of a fault that something brings on, found or put right; a fault seen and not mended."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from msgspec import Struct

from faultodds.knowledge import Knowledge
from faultodds.safety.duties import LIKELY, still_holds


class Seen(Protocol):
    """What a symptom or check showed: weights over its outcomes, after how many repairs, and which measurement of it."""

    @property
    def name(self) -> str:
        """The symptom or check."""

    @property
    def weights(self) -> Mapping[str, float]:
        """Outcome -> weight."""

    @property
    def stage(self) -> int:
        """Repairs done before it."""

    @property
    def take(self) -> int:
        """Which measurement of it: the later the higher."""


def still_owed(knowledge: Knowledge, repaired: Sequence[str], seen: Iterable[Seen]) -> dict[str, list[str]]:
    """Faults with a cause behind them, found or put right, and nothing done about the cause -> the checks of which one is owed.

    `repaired`: names of the repairs done, in order. A repair of what brings the fault on settles it, and so does one of its
    `cause_shown_by` with its normal outcome, unless another of these last showed something else. Of a fault that came again
    after it was put right only what was done since it came counts: it came in spite of all that was right before.
    """
    last = {s.name: s for s in sorted(seen, key=lambda s: (s.stage, s.take))}
    mended = [{m for t in knowledge.repair[name].fixes for m in knowledge.modes_under(t)} for name in repaired]
    owed = {}
    for name, mode in knowledge.modes():
        if not mode.cause_shown_by:
            continue
        put_right = [n for n, modes in enumerate(mended, 1) if name in modes]
        found = max((s.stage for s in last.values() if _shows(knowledge, s, name)), default=-1)
        since = found if any(n <= found for n in put_right) else 0
        brought = {each for modes in mended[since:] for each in modes}
        causes = any(name in cause.brings_on for other, cause in knowledge.modes() if other in brought)
        there = bool(put_right) or found >= 0
        if there and not causes and not _measured_right(knowledge, mode.cause_shown_by, repaired, last, since):
            owed[name] = mode.cause_shown_by
    return owed


class Unmended(Struct, frozen=True):
    """A fault that a look showed, and that no repair since was of. `barring`: it lets a hazard out, or is one of the faults that
    bring on a blown fuse, so that no reason will do."""

    name: str
    outcome: str
    mode: str
    barring: bool


def unmended(knowledge: Knowledge, repaired: Sequence[str], seen: Iterable[Seen]) -> list[Unmended]:
    """The faults that were seen last by a look or a measurement of the part itself, each by its likeliest mode, and that nobody
    has mended since, nor looked at again."""
    order = [s for s in sorted(seen, key=lambda s: s.stage) if s.name in knowledge.check]
    found = []
    for n, s in enumerate(order):
        if s.name in {later.name for later in order[n + 1 :]}:
            continue
        since = {m for r in repaired[s.stage :] for t in knowledge.repair[r].fixes for m in knowledge.modes_under(t)}
        for outcome in list(knowledge.check[s.name].outcomes)[1:]:
            modes = _names(knowledge, s.name, outcome) if _share(s, outcome) > LIKELY else {}
            if (
                modes
                and not since & set(modes)
                and not any(_clears(knowledge, later, modes) for later in order[n + 1 :])
            ):
                found.append(Unmended(s.name, outcome, max(modes, key=modes.__getitem__), _bars(knowledge, modes)))
    return found


def _names(knowledge: Knowledge, check: str, outcome: str) -> dict[str, float]:
    """Faults of parts that a check looks at directly, and that show this outcome more often than not -> how often."""
    seen = knowledge.check[check]
    out: dict[str, float] = {}
    for ref, link in seen.links.items():
        often = link if isinstance(link, Mapping) else dict.fromkeys(list(seen.outcomes)[1:2], link)
        out |= dict.fromkeys(knowledge.modes_under(ref) if _is_part(knowledge, ref) else (), often.get(outcome, 0.0))
    for row, shares in seen.table.items():
        wrong = [(d, s) for d, s in zip(seen.depends_on, row.split(", "), strict=False) if s != "ok"]
        if row != "other" and len(wrong) == 1 and _is_part(knowledge, wrong[0][0]):
            out[".".join(wrong[0])] = shares.get(outcome, 0.0)
    return {mode: often for mode, often in out.items() if often > LIKELY}


def _clears(knowledge: Knowledge, seen: Seen, modes: Iterable[str]) -> bool:
    """Whether a check that would show one of some modes showed that all is well."""
    good, *others = knowledge.check[seen.name].outcomes
    named = {m for outcome in others for m in _names(knowledge, seen.name, outcome)}
    return bool(named & set(modes)) and _share(seen, good) > LIKELY


def _is_part(knowledge: Knowledge, ref: str) -> bool:
    return ref.partition(".")[0] in knowledge.component


def _bars(knowledge: Knowledge, modes: Iterable[str]) -> bool:
    """Whether one of some modes brings on a fault that owes its cause, or lets a hazard out."""
    bringing = {cause for causes in knowledge.causes_owed.values() for cause in causes}
    for name, check in knowledge.check.items():
        for outcome in (*check.lets_out, *check.stops):
            bringing |= set(_names(knowledge, name, outcome))
    return bool(bringing & set(modes))


def shown_by_a_run_only(knowledge: Knowledge) -> dict[str, str]:
    """The faults that a verification run proves to be right only when it is made in a way of its own -> that way."""
    only = knowledge.check[knowledge.costs.verify].shown_only
    return {mode: way for target, way in only.items() for mode in knowledge.modes_under(target)}


def run_shows_only(knowledge: Knowledge, repaired: Iterable[str]) -> list[str]:
    """What the verification run proves of these repairs only when it is made in a way of its own, one sentence for each way."""
    ways: dict[str, list[str]] = {}
    how = shown_by_a_run_only(knowledge)
    for name in dict.fromkeys(repaired):
        repair = knowledge.repair[name]
        for way in dict.fromkeys(how[m] for t in repair.fixes for m in knowledge.modes_under(t) if m in how):
            ways.setdefault(way, []).append(repair.title)
    return [f"{' and '.join(t)}: a run proves that only if it is made {way}." for way, t in ways.items()]


def _shows(knowledge: Knowledge, seen: Seen, mode: str) -> bool:
    """Whether a check likely showed an outcome that this mode, and no other, brings on more often than not."""
    observable = knowledge.check.get(seen.name)
    if observable is None:
        return False
    others = list(observable.outcomes)[1:2]
    brings = {
        ref: link if isinstance(link, Mapping) else dict.fromkeys(others, link)
        for ref, link in observable.links.items()
    }
    shown = [o for o in observable.outcomes if _share(seen, o) > LIKELY]
    return any([ref for ref, link in brings.items() if link.get(o, 0.0) > LIKELY] == [mode] for o in shown)


def _measured_right(
    knowledge: Knowledge, checks: Sequence[str], repaired: Sequence[str], last: Mapping[str, Seen], since: int
) -> bool:
    """Whether what would show a cause was measured since then, still holds, and is normal wherever it was measured."""
    measured = [last[c] for c in checks if c in last and last[c].stage >= since]
    standing = [s for s in measured if still_holds(knowledge, s.name, repaired[s.stage :])]
    return bool(standing) and all(_share(s, next(iter(knowledge.check[s.name].outcomes))) > LIKELY for s in standing)


def _share(seen: Seen, outcome: str) -> float:
    return seen.weights.get(outcome, 0.0) / sum(seen.weights.values())
