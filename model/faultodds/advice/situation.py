"""Where the technician stands beside the evidence, what a piece of work costs from there, and what may be so."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from msgspec.structs import replace

from faultodds.advice.machine import CLOSED_UP, State, Way
from faultodds.belief import Belief, Evidence, RepairEffect, infer
from faultodds.knowledge import Knowledge, repair_modes
from faultodds.safety import (
    CAUSE_LEFT,
    LIKELY,
    Known,
    barred,
    not_run_with,
    said,
    shown_by_a_run_only,
    still_holds,
    taken,
)

Bools = npt.NDArray[np.bool_]

MOST_EFFORT = 6
# An answer this likely beside the likeliest one may still be so.
DOUBT = 0.1
# A fault under which an outcome is this many times as likely as on a sound machine is a cause of it.
MAKES = 3.0


class Situation(Struct, frozen=True):
    """Where the technician stands, beside the evidence.

    `skipped`: checks and repairs that cannot be done now. `qualified`: whether energised and gas-pressure work may be
    offered. `labour_rate`: overrides the file's, per hour. `effort`: 1 to `MOST_EFFORT`, the budget for looking ahead; each
    step about doubles the time, and the same effort gives the same answer. `asking`: whether what has not been told may be asked;
    a question that nobody could answer is `skipped` as well.
    """

    state: State = CLOSED_UP
    skipped: frozenset[str] = frozenset()
    qualified: bool = True
    labour_rate: float | None = None
    effort: int = 1
    asking: bool = False


class Price(Struct, frozen=True):
    """Price of one piece of work from here: minutes on the clock and money, access included; `way` leads there."""

    way: Way
    minutes: float
    cost: float


def may_be(knowledge: Knowledge, evidence: Evidence, belief: Belief | None = None) -> dict[str, dict[str, float]]:
    """For each fact and each thing seen, the values that it may have by the latest answer, with their shares; a doubtful one
    has several. What was mended since it was seen is not known any more.

    With a `belief`: what may let a hazard into the room and was not looked at goes by the chance of its causes; what stopped
    the run goes by it once one of its causes has been repaired, and once it was seen otherwise with nothing put right.
    """
    known = {name: {value: 1.0} for name, value in evidence.facts.items()}
    judged: list[tuple[str, str]] = []
    observables = knowledge.observables
    for s in sorted(evidence.seen, key=lambda s: (s.stage, s.visit, s.take)):
        least, total = DOUBT * max(s.weights.values()), sum(s.weights.values())
        known[s.name] = {o: taken(observables[s.name], o, w / total) for o, w in s.weights.items() if w >= least}
        since = evidence.repairs[s.stage :]
        stops = {**observables[s.name].stops, **observables[s.name].stops_away}
        judged = [(n, o) for n, o in judged if n != s.name]
        if not still_holds(knowledge, s.name, (r.name for r in since)):
            known[s.name] = {o: share for o, share in known[s.name].items() if o in stops}
        if belief is not None and since:
            judged += [
                (s.name, o) for o in stops if s.weights.get(o, 0.0) >= least and _mended(belief, s.name, o, since)
            ]
    if belief is not None:
        judged += [(n, o) for n, seen in observables.items() for o in seen.lets_out if not known.get(n)]
        judged += gone_unmended(knowledge, evidence)
        for name, outcome in judged:
            left = cause_left(belief, name, outcome)
            if outcome in observables[name].stops_away:  # somebody stands beside it until it is looked at again
                left = max(left, DOUBT)
            known[name] = {**known.get(name, {}), outcome: left}
        known |= _causes_left(knowledge, evidence, belief)
    return {n: {o: share for o, share in values.items() if share >= DOUBT} for n, values in known.items()}


def _causes_left(knowledge: Knowledge, evidence: Evidence, belief: Belief) -> dict[str, dict[str, float]]:
    """Faults put right that something brings on -> the chance that something of that is there now."""
    s, out = belief.suspects, {}
    mended = {m for r in evidence.repairs for m in r.modes}
    for name, causes in knowledge.causes_owed.items():
        if name in mended:
            there: Bools = np.any(s.member[:, [s.mode_index[c] for c in causes]], axis=1)
            since = max(n for n, r in enumerate(evidence.repairs, 1) if name in r.modes)
            out[name] = {CAUSE_LEFT: _despite_runs(knowledge, evidence, belief, since, there)}
    return out


def _despite_runs(knowledge: Knowledge, evidence: Evidence, belief: Belief, since: int, made: Bools) -> float:
    """Chance that one of some suspects is there. A run with heat that was made after `since` repairs, while it was barred, is
    taken as a fact but lifts no bar: the chance is the higher of those with such runs and without."""
    left = float(belief.now[made].sum())
    lit = {n for n, check in knowledge.check.items() if check.running and not check.unheated}
    kept = tuple(s for s in evidence.seen if s.name not in lit or s.stage < since)
    if left > LIKELY or len(kept) == len(evidence.seen):
        return left
    return max(left, float(infer(belief.suspects, replace(evidence, seen=kept)).now[made].sum()))


def cause_left(belief: Belief, name: str, outcome: str) -> float:
    """Chance that something is there which makes an outcome likelier than it is on a sound machine."""
    return float(belief.now[_made(belief, name, outcome)].sum())


def _made(belief: Belief, name: str, outcome: str) -> Bools:
    """(H,) the suspects that make an outcome likelier than it is on a sound machine."""
    s = belief.suspects
    row = s.likelihood[s.rows[name].start + s.observables[name].index(outcome)]
    made: Bools = row >= MAKES * row[s.sound]
    return made


def _mended(belief: Belief, name: str, outcome: str, repairs: Iterable[RepairEffect]) -> bool:
    """Whether one of some repairs is of something that makes an outcome likelier by itself."""
    causes = makers(belief, name, outcome)
    return any(mode in causes for repair in repairs for mode in repair.modes)


def makers(belief: Belief, name: str, outcome: str) -> set[str]:
    """The faults that make an outcome likelier by themselves than it is on a sound machine."""
    s = belief.suspects
    made = _made(belief, name, outcome)
    return {mode for mode, suspect in s.alone.items() if made[suspect]}


def found_last(knowledge: Knowledge, evidence: Evidence) -> Known:
    """What was found, each by its latest finding, whatever was repaired since."""
    ordered, seen = sorted(evidence.seen, key=lambda s: (s.stage, s.take)), knowledge.observables
    return {
        s.name: {o: taken(seen[s.name], o, w / sum(s.weights.values())) for o, w in s.weights.items()} for s in ordered
    }


def not_looked_at_again(
    knowledge: Knowledge, evidence: Evidence, belief: Belief | None = None
) -> list[tuple[str, str]]:
    """What was found last with which the machine is not run, or not with nobody beside it; what stops its heat and was seen with
    the burner lit; of what everybody can see without opening it, whatever may be so. With a `belief`, not what was measured and
    is probably right, where hardly any cause of it is left."""
    found = found_last(knowledge, evidence)
    seen = [(n, o) for n, each in knowledge.symptom.items() for o in each.stops if found.get(n, {}).get(o, 0.0) > 0]
    lit = [(n, o) for n, each in knowledge.check.items() if each.running and not each.unheated for o in each.stops_heat]
    beside = [(n, o) for n, each in knowledge.observables.items() for o in each.stops_away]
    likely = [(n, o) for n, o in (*lit, *beside) if found.get(n, {}).get(o, 0.0) > LIKELY]
    left = list(dict.fromkeys((*not_run_with(knowledge, found), *seen, *likely)))
    return [(n, o) for n, o in left if belief is None or not _measured_right(knowledge, belief, n, o)]


def _measured_right(knowledge: Knowledge, belief: Belief, name: str, outcome: str) -> bool:
    here = [s for s in belief.evidence.seen if (s.name, s.visit) == (name, len(belief.evidence.waits))]
    if name not in knowledge.check or not here:
        return False
    last = max(here, key=lambda s: (s.stage, s.take)).weights
    return last.get(outcome, 0.0) <= LIKELY * sum(last.values()) and cause_left(belief, name, outcome) < DOUBT


def run_forbidden(
    knowledge: Knowledge, evidence: Evidence, belief: Belief | None, known: Known, repairs: Sequence[str]
) -> str:
    """What of all that is `known` forbids the run that proves some repairs, as "name=outcome": it was found, and is likely still
    there after them; so does a fuse's cause. Empty when nothing does, and for work of others, which is not proved here."""
    done = [knowledge.repair[name] for name in repairs]
    modes = [mode.partition(".") for r in done for mode in repair_modes(knowledge, r)]
    owing = any(knowledge.component[name].modes[mode].cause_shown_by for name, _, mode in modes)
    if not (owing or barred(knowledge, known)) or all(repair.by_others for repair in done):
        return ""
    effects = [RepairEffect(n, tuple(repair_modes(knowledge, knowledge.repair[n])), 1.0) for n in repairs]
    after = replace(evidence, repairs=(*evidence.repairs, *effects))
    if belief is not None:
        now = np.bincount(belief.suspects.removal(m for e in effects for m in e.modes), belief.now, len(belief.now))
        belief = replace(belief, evidence=after, now=now)
    return next((said(n, o) for n, o in barred(knowledge, may_be(knowledge, after, belief))), "")


def not_looked_for(knowledge: Knowledge, evidence: Evidence, belief: Belief) -> list[tuple[str, str]]:
    """What stops the machine, may be so by the odds of its causes, and nobody has looked for since the last repair; also once
    one of its causes was put right that a plain run does not show."""
    looked = {s.name for s in evidence.seen if s.stage == len(evidence.repairs) and s.visit == len(evidence.waits)}
    hidden = shown_by_a_run_only(knowledge)
    done = {m for r in evidence.repairs[evidence.begun :] for m in r.modes if m in hidden}
    out = []
    for name in (n for n, each in knowledge.observables.items() if each.before_leaving and n not in looked):
        for outcome in knowledge.observables[name].stops:
            if cause_left(belief, name, outcome) >= DOUBT or done & makers(belief, name, outcome):
                out.append((name, outcome))
    return out


def gone_unmended(knowledge: Knowledge, evidence: Evidence) -> list[tuple[str, str]]:
    """What can hurt somebody, was found, and was seen otherwise later, though nothing was put right that it speaks of: a good
    look by itself mends nothing."""
    when = {(s.name, s.stage, s.visit, s.take) for s in evidence.seen}
    out = []
    for s in evidence.seen:
        total, seen = sum(s.weights.values()), knowledge.observables[s.name]
        later = any(n == s.name and (at, visit, take) > (s.stage, s.visit, s.take) for n, at, visit, take in when)
        if later and still_holds(knowledge, s.name, (r.name for r in evidence.repairs[s.stage :])):
            out += [(s.name, o) for o in sorted(seen.harms) if s.weights.get(o, 0.0) > LIKELY * total]
    return out
