"""The numbers behind a piece of advice: what a check tells apart, what its access is worth, what the next best would cost.

`words.py` puts them into sentences; nothing is said there that is not worked out here. A *part* is a component of the knowledge
file; its odds are the chance that any of its modes is present.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from msgspec import Struct

from faultodds.advice.machine import Way
from faultodds.advice.problem import Problem
from faultodds.advice.ranking import CheckPrice, Ranking
from faultodds.belief import Belief, answer_chances
from faultodds.knowledge import Floats, repair_modes

# An outcome less likely than this is not worth a word.
LEAST_CHANCE = 0.02
# A part is pointed at when its odds rise most of all, by this factor and this much at least, to at least LEAST_ODDS.
RISE, LEAST_RISE, LEAST_ODDS = 1.15, 0.02, 0.05
# A second part is named when it rises at least this share of what the first does.
SECOND = 0.35
# Odds from here on are pointed at; under it the search only leans there.
POINTS = 0.3
# A part is as good as cleared when its odds fall to this share.
CLEARED = 0.35
MOST_POINTERS = 3


class Pointer(Struct, frozen=True):
    """What some outcomes of a check say: their chance together, and the parts whose odds they raise, most first.

    `odds`: those of the first part after such an outcome.
    """

    outcomes: tuple[str, ...]
    chance: float
    parts: tuple[str, ...]
    odds: float

    @property
    def firm(self) -> bool:
        """Whether it points at the part, rather than leaning towards it."""
        return self.odds >= POINTS


class Move(Struct, frozen=True):
    """How one part's odds move with one outcome."""

    outcome: str
    chance: float
    part: str
    now: float
    after: float


class Parts(Struct, dict=True):
    """Odds of the parts, now and after what a check may show."""

    belief: Belief

    @cached_property
    def names(self) -> list[str]:
        """Every part that can be bad, in file order, and what the file does not list."""
        return list(dict.fromkeys(m.partition(".")[0] for m in self.belief.suspects.modes))

    @cached_property
    def of_mode(self) -> Floats:
        """(M, P) 1 where a mode is of a part. A part has one mode at a time, so its odds are the sum of theirs."""
        column = [self.names.index(m.partition(".")[0]) for m in self.belief.suspects.modes]
        return np.asarray(np.eye(len(self.names))[column])

    @cached_property
    def now(self) -> Floats:
        """(P,) odds of each part."""
        return np.asarray(self.belief.mode_odds @ self.of_mode)

    def outcomes(self, name: str) -> tuple[str, ...]:
        """What a check or a symptom may show, or the answers to a question about machine or house."""
        s = self.belief.suspects
        return tuple(s.observables[name]) if name in s.observables else s.fact_values[name]

    def after(self, name: str) -> tuple[Floats, Floats]:
        """(O,) chance of each of `outcomes`, and (O, P) each part's odds together with it."""
        s = self.belief.suspects
        seen = name in s.observables
        like = s.likelihood[s.rows[name]] if seen else answer_chances(s, self.belief.evidence.facts, name)
        joint = like * self.belief.now
        return joint.sum(axis=1), joint @ s.member_float @ self.of_mode

    def of(self, modes: list[str]) -> dict[str, float]:
        """The chance that any of some modes is present, part by part, highest first (file order where equal)."""
        s, by_part = self.belief.suspects, dict[str, float]()
        for mode in modes:
            part = mode.partition(".")[0]
            by_part[part] = by_part.get(part, 0.0) + float(self.belief.mode_odds[s.mode_index[mode]])
        return dict(sorted(by_part.items(), key=lambda item: -item[1]))

    def likeliest_of(self, part: str) -> float:
        """The odds of a part's likeliest mode."""
        return float((self.belief.mode_odds * self.of_mode[:, self.names.index(part)]).max())

    def any(self, parts: list[str]) -> float:
        """The chance that at least one of some parts is bad."""
        s = self.belief.suspects
        columns = [i for i, m in enumerate(s.modes) if m.partition(".")[0] in parts]
        return float(self.belief.now @ s.member[:, columns].any(axis=1))

    def leading(self) -> tuple[str, float]:
        """The likeliest part and its odds."""
        i = int(self.now.argmax())
        return self.names[i], float(self.now[i])


def pointers(parts: Parts, check: str) -> list[Pointer]:
    """The outcomes of a check, or answers to a question, that raise some part's odds, likeliest first; those with the same first
    part are one."""
    outcomes = parts.outcomes(check)
    chance, joint = parts.after(check)
    groups: dict[int, list[int]] = {}
    for o in np.flatnonzero(chance >= LEAST_CHANCE).tolist():
        up = _rising(parts.now, joint[o] / chance[o])
        if up:
            groups.setdefault(up[0], []).append(o)
    out = []
    for rows in groups.values():
        total = float(chance[rows].sum())
        after = joint[rows].sum(axis=0) / total
        up = _rising(parts.now, after)
        names = tuple(parts.names[i] for i in up)
        out.append(Pointer(tuple(outcomes[o] for o in rows), total, names, float(after[up[0]])))
    return sorted(out, key=lambda p: -p.chance)[:MOST_POINTERS]


def _rising(now: Floats, after: Floats) -> list[int]:
    """The part that rises most, and the second where it rises nearly as much; none when the first does not rise enough."""
    gain = np.where(after >= LEAST_ODDS, after - now, 0.0)
    order = np.argsort(-gain, kind="stable")[:2].tolist()
    enough = [gain[i] >= LEAST_RISE and after[i] >= now[i] * RISE and gain[i] >= SECOND * gain[order[0]] for i in order]
    return [i for i, rises in zip(order, enough, strict=True) if rises and enough[0]]


def furthest(parts: Parts, check: str) -> Move:
    """The part and outcome for which a check moves the odds most, counting how likely the outcome is."""
    outcomes = parts.outcomes(check)
    chance, joint = parts.after(check)
    moved = np.abs(joint - chance[:, None] * parts.now)
    o, i = (int(x) for x in np.unravel_index(int(moved.argmax()), moved.shape))
    return Move(outcomes[o], float(chance[o]), parts.names[i], float(parts.now[i]), float(joint[o, i] / chance[o]))


def settled(parts: Parts, check: str, found: list[Pointer]) -> Move | None:
    """Where a check is about one part alone: what its likeliest other outcome makes of that part's odds."""
    if len(found) != 1:
        return None
    i = parts.names.index(found[0].parts[0])
    outcomes = parts.outcomes(check)
    chance, joint = parts.after(check)
    others = [o for o in range(len(outcomes)) if outcomes[o] not in found[0].outcomes and chance[o] >= LEAST_CHANCE]
    if not others:
        return None
    o = max(others, key=lambda o: float(chance[o]))
    after = float(joint[o, i] / chance[o])
    if after > CLEARED * parts.now[i]:
        return None
    return Move(outcomes[o], float(chance[o]), parts.names[i], float(parts.now[i]), after)


def within_reach(problem: Problem, way: Way) -> int:
    """How many other checks need no more opening once this way has been gone, and do need it now."""
    checks = [c for n, c in problem.checks.items() if n != problem.knowledge.costs.verify]
    now = [problem.machine.to_work(problem.situation.state, c) for c in checks]
    after = [problem.machine.to_work(way.after, c) for c in checks]
    return sum(bool(_opened(a)) and not b.moves for a, b in zip(now, after, strict=True)) - 1


def _opened(way: Way) -> list[str]:
    return [m.item for m in way.moves if m.opens]


def next_check(ranking: Ranking, name: str = "") -> CheckPrice | None:
    """The best check that tells something, but this one."""
    return next((c for c in ranking.checks if c.tells and c.name != name), None)


def without_checks(ranking: Ranking) -> tuple[str, float]:
    """The cheapest move that is no check, as its kind, and the expected cost of the job with it."""
    moves = [("repair", r.expected_cost) for r in ranking.repairs[:1]]
    moves += [("stop", ranking.stop_cost), ("refer", ranking.problem.refer_cost)]
    return min(moves, key=lambda m: m[1])


def mended(problem: Problem, names: tuple[str, ...]) -> dict[str, float]:
    """The parts that some repairs put right, with the chance that what they mend is present, highest first."""
    k = problem.knowledge
    modes = dict.fromkeys(m for n in names for m in repair_modes(k, k.repair[n]))
    return Parts(problem.belief).of(list(modes))
