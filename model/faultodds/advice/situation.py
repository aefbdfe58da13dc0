"""Where the technician stands beside the evidence, what a piece of work costs from there, and what may be so."""

from __future__ import annotations

from msgspec import Struct

from faultodds.advice.machine import CLOSED_UP, State, Way
from faultodds.belief import Evidence
from faultodds.knowledge import Knowledge
from faultodds.safety import still_holds

MOST_EFFORT = 6
# An answer this likely beside the likeliest one may still be so.
DOUBT = 0.1


class Situation(Struct, frozen=True):
    """Where the technician stands, beside the evidence.

    `skipped`: checks and repairs that cannot be done now. `qualified`: whether energised and gas-pressure work may be
    offered. `labour_rate`: overrides the file's, per hour. `effort`: 1 to `MOST_EFFORT`, the budget for looking ahead; each
    step about doubles the time, and the same effort gives the same answer.
    """

    state: State = CLOSED_UP
    skipped: frozenset[str] = frozenset()
    qualified: bool = True
    labour_rate: float | None = None
    effort: int = 1


class Price(Struct, frozen=True):
    """Price of one piece of work from here: minutes on the clock and money, access included; `way` leads there."""

    way: Way
    minutes: float
    cost: float


def may_be(knowledge: Knowledge, evidence: Evidence) -> dict[str, set[str]]:
    """For each fact and each thing seen, the values that it may have, by the latest answer; a doubtful one has several. What was
    mended since it was seen is not known any more."""
    known = {name: {value} for name, value in evidence.facts.items()}
    for s in sorted(evidence.seen, key=lambda s: (s.stage, s.visit, s.take)):
        most = max(s.weights.values())
        known[s.name] = {o for o, w in s.weights.items() if w >= DOUBT * most}
        if not still_holds(knowledge, s.name, (r.name for r in evidence.repairs[s.stage :])):
            del known[s.name]
    return known
