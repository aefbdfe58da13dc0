"""Everything that can be done now, priced by the expected cost of the whole job and ranked."""

from __future__ import annotations

from collections.abc import Collection
from functools import cached_property

import numpy as np
from msgspec import Struct

from faultodds.advice.ledger import CHECK, REPAIR, RUN, Ledger
from faultodds.advice.policy import NOTHING_TOLD, Move, Policy, xlogx
from faultodds.advice.problem import AS_GOOD_AS_FOUND, Problem
from faultodds.advice.rollout import EVERY, Rollout
from faultodds.advice.situation import Price, run_forbidden
from faultodds.knowledge import Bools, Floats, Places
from faultodds.safety import run_attended

# Rollout in stages: (least branch followed, how many of the most promising moves).
STAGES = ((0.03, 20), (0.01, 8))
FOLLOWED_REPAIRS = 2
# Prices of a bit that the base policy is tried with, as shares of what the job would cost if the truth were told; after each
# first move the better one is followed.
BIT_PRICES = (0.4, 0.6, 0.8)
MIDDLE = 1
# With no more classes and checks than this every branch is followed to its end, by several base policies.
SMALL = 8
MANY_BIT_PRICES = (0.1, 0.2, 0.3, 0.4, 0.6, 0.8, 1.6)

# A check that tells less than this about the suspects, in bits, tells nothing to speak of.
TELLS_NOTHING = 0.02


class CheckPrice(Struct, frozen=True):
    """One check: its own price, the expected cost of the whole job if it is done now, and what it may show.

    `priced`: whether that cost was worked out; what is plainly dearer is only put after the rest, by a number that is not
    for people.
    """

    name: str
    price: Price
    expected_cost: float
    bits: float
    outcomes: dict[str, float]
    priced: bool = True

    @property
    def tells(self) -> bool:
        """Whether it tells anything to speak of.

        A cheap check that does not ranks high by its price alone; nobody wants to be sent to look at a gas cock when the burner has
        just been seen to light.
        """
        return self.bits >= TELLS_NOTHING


class RepairPrice(Struct, frozen=True):
    """Repairs done first (`together` beside `name`), with their run: chance that they put the machine right, their price,
    and the expected cost of the whole job, `priced` as for a check."""

    name: str
    together: tuple[str, ...]
    price: Price
    chance: float
    expected_cost: float
    priced: bool = True


def stages(effort: int, widths: tuple[int, int] | None = None) -> list[tuple[float, int]]:
    """The stages of rollout for a budget: each step of `effort` over 1 follows branches half as likely again."""
    usual = [width for _, width in STAGES]
    return [(least / 2 ** (effort - 1), width) for (least, _), width in zip(STAGES, widths or usual, strict=True)]


class Ranking:
    """Prices of everything that can be done now."""

    def __init__(self, problem: Problem, widths: tuple[int, int] | None = None) -> None:
        """`widths`: how many of the most promising moves alone take part in each stage, where that is not the usual."""
        self.problem = problem
        self.stages = stages(problem.situation.effort, widths)
        self.followed_repairs = FOLLOWED_REPAIRS if widths is None else 0
        self.ledger = Ledger(problem)
        self.policy = Policy(problem, self.ledger)

    @cached_property
    def _idle(self) -> Bools:
        """(C,) the checks that tell nothing about which repairs are needed."""
        p = self.problem
        told = self.policy.bits(p.class_weights[None])[0] if p.check_names else np.zeros(0)
        idle: Bools = (told < NOTHING_TOLD) & self.policy.ordinary
        return idle

    @cached_property
    def moves(self) -> list[Move]:
        """The moves worth pricing: checks that tell something, the verification run, every bundle."""
        p = self.problem
        verify = p.knowledge.costs.verify
        checks = [
            Move(RUN) if n == verify else Move(CHECK, c) for c, n in enumerate(p.check_names) if not self._idle[c]
        ]
        return checks + [Move(REPAIR, u) for u in range(len(p.bundles))]

    @cached_property
    def _prices(self) -> tuple[Floats, Bools]:
        """Price of every check, then of every bundle, and whether it is one and not only a place in the order; small
        problems to the last branch, larger ones in stages.

        A check that tells nothing costs its own price more than the best of what there is to do anyway.
        """
        p = self.problem
        small = max(len(p.masks), len(p.check_names)) <= SMALL
        out = np.empty(len(p.check_names) + len(p.bundles))
        worth = np.concatenate([~self._idle, np.ones(len(p.bundles), dtype=bool)])
        priced = np.ones(len(out), dtype=bool)
        if self.moves:
            out[worth], priced[worth] = self._every_branch() if small else self._in_stages()
        best = min([p.refer_cost, *out[worth & priced].tolist()])
        out[~worth] = best + self.ledger.check_cost[0][self._idle]
        return out, priced

    def _every_branch(self) -> tuple[Floats, Bools]:
        """Each move followed to the end of every branch, by the base policy that does best after it."""
        prices = np.array(MANY_BIT_PRICES) * self.policy.scale
        rollout = Rollout(self.policy, EVERY)
        found = rollout.prices(self.problem.weights, self.moves, prices).min(axis=0)
        return np.asarray(found), np.ones(len(found), dtype=bool)

    def _in_stages(self) -> tuple[Floats, Bools]:
        """Every move by the base policy's estimate; then the most promising by rollout, then the best of those more finely.

        What is left behind is put after all that is priced in the end.
        """
        weights, policy = self.problem.weights, self.policy
        shares = np.array(BIT_PRICES) * policy.scale
        out = np.array(policy.estimates(self.problem.class_weights[None], self.moves, float(shares[MIDDLE]))[0])
        # The run is always followed: the base policy puts it off, and hardly sees what a good one saves. So are the best
        # repairs, since people are told what starting with one would cost; and checks that a rule may put first of all.
        names = self.problem.check_names
        run = [
            i
            for i, m in enumerate(self.moves)
            if m.kind == RUN or (m.kind == CHECK and names[m.which] in self._first_of_all)
        ]
        repairs = [i for i, m in enumerate(self.moves) if m.kind == REPAIR]
        for least, width in self.stages:
            # Roughly, one base policy tells which moves are promising; in the end each is followed by the best of several.
            tried = shares if least == self.stages[-1][0] else shares[MIDDLE : MIDDLE + 1]
            first = np.argsort(out, kind="stable")[:width].tolist()
            always = run + sorted(repairs, key=lambda i: out[i])[: self.followed_repairs]
            chosen = list(dict.fromkeys([*first, *always]))
            priced = Rollout(policy, least).prices(weights, [self.moves[i] for i in chosen], tried).min(axis=0)
            out = out - np.min(out) + np.max(priced) + 1e-6
            out[chosen] = priced
        known = np.zeros(len(out), dtype=bool)
        known[chosen] = True
        return out, known

    @cached_property
    def _first_of_all(self) -> set[str]:
        """The checks that may come before what is cheapest: owed, wanted again, or needed before the machine runs."""
        p = self.problem
        watched = {name for name, _ in run_attended(p.knowledge, p.known)} if p.unwatched else set[str]()
        return p.owed_checks | set(p.look_again) | watched

    @cached_property
    def checks(self) -> list[CheckPrice]:
        """Every open check, cheapest expected job first (file order where equal); one for qualified people comes last while another
        still tells something of what it would show."""
        p = self.problem
        out = []
        for c, name in enumerate(p.check_names):
            like = self._shows[name]
            bits, outcomes = _bits(like, self._weights, like @ self._weights), p.belief.outcome_odds(name)
            cost, priced = float(self._prices[0][c]), bool(self._prices[1][c])
            out.append(CheckPrice(name, p.price_check(name), cost, bits, outcomes, priced))
        wait = {c.name: p.knowledge.check[c.name].qualified and self._others_tell(self._shows[c.name]) for c in out}
        return sorted(out, key=lambda c: (wait[c.name], c.expected_cost))

    @cached_property
    def _weights(self) -> Floats:
        """(A,) chance of each active suspect now."""
        weights = self.problem.weights.astype(np.float64)
        return np.asarray(weights / weights.sum())

    @cached_property
    def _shows(self) -> dict[str, Floats]:
        """(O, A) chance of each outcome of every open check under each active suspect."""
        p = self.problem
        rows = {name: p.suspect_likelihood[p.rows[name]].astype(np.float64) for name in p.check_names}
        return {name: like / like.sum(axis=0) for name, like in rows.items()}

    def _others_tell(self, told: Floats) -> bool:
        """Whether a check that anybody may do tells something of what is to be known, given as (O, A) chances of its outcomes.

        Nobody works live to learn what can be learned cold; but a look at something else altogether is no reason to wait.
        """
        like, starts = self._anybodys
        if not len(starts):
            return False
        both = (like * self._weights) @ told.T
        apart = np.add.reduceat(xlogx(both.sum(axis=1)), starts) + xlogx(told @ self._weights).sum()
        shared = np.add.reduceat(xlogx(both).sum(axis=1), starts) - apart
        return bool((shared >= TELLS_NOTHING).any())

    @cached_property
    def _anybodys(self) -> tuple[Floats, Places]:
        """The rows of `_shows` of the checks that anybody may do, and where each one's begin."""
        checks = self.problem.knowledge.check
        rows = [like for name, like in self._shows.items() if not checks[name].qualified]
        starts = np.cumsum([0, *map(len, rows)])[:-1].astype(np.intp)
        return np.concatenate([np.zeros((0, len(self._weights))), *rows]), starts

    @cached_property
    def repairs(self) -> list[RepairPrice]:
        """Every bundle done first, cheapest expected job first; those for qualified people last while a check that anybody may
        do still tells something of whether it is needed, but for a fault as good as found."""
        p = self.problem
        chances = self.policy.finishes @ (p.class_weights * self.ledger.class_success)
        prices, priced = (x[len(p.check_names) :].tolist() for x in self._prices)
        out = [
            RepairPrice(names[0], names[1:], p.price_repairs(names), float(chances[u]), prices[u], priced[u])
            for u, names in enumerate(p.bundles)
            if not run_forbidden(p.knowledge, p.belief.evidence, p.belief, p.known, names)
        ]
        return sorted(out, key=lambda r: (self._waits((r.name, *r.together)), r.expected_cost))

    def for_safety(self, name: str) -> bool:
        """Whether a check is done because a danger may be left, not for what it saves."""
        return self.problem.verified and name in self.problem.look_again

    def tells_of(self, check: str, modes: Collection[str]) -> bool:
        """Whether a check tells anything to speak of about whether one of some faults is there."""
        return self.told_of(check, modes) >= TELLS_NOTHING

    def told_of(self, check: str, modes: Collection[str]) -> float:
        """What a check tells about whether one of some faults is there, in bits."""
        there = self._there(modes)
        both = (self._shows[check] * self._weights) @ np.stack([there, ~there], axis=1)
        return float(xlogx(both).sum() - xlogx(both.sum(axis=0)).sum() - xlogx(both.sum(axis=1)).sum())

    def _waits(self, names: tuple[str, ...]) -> bool:
        """Whether a repair for qualified people among some waits for a check."""
        p = self.problem
        if p.found(names) >= AS_GOOD_AS_FOUND:
            return False
        return any(self._told_of[n] for n in names if p.knowledge.repair[n].qualified)

    @cached_property
    def _told_of(self) -> dict[str, bool]:
        """Of each repair for qualified people, whether a check that anybody may do tells something of whether it is needed."""
        needed = {n: self._needed(n) for n in self.problem.needed if self.problem.knowledge.repair[n].qualified}
        return {n: self._others_tell(np.array([there, ~there])) for n, there in needed.items()}

    def _needed(self, repair: str) -> Bools:
        """(A,) the active suspects with something that a repair puts right."""
        return self._there(self.problem.put_right([repair]))

    def _there(self, modes: Collection[str]) -> Bools:
        """(A,) the active suspects with one of some faults."""
        s = self.problem.belief.suspects
        columns = sorted(s.mode_index[m] for m in modes)
        return np.asarray(s.member[self.problem.active][:, columns].any(axis=1))

    @cached_property
    def stop_cost(self) -> float:
        """Price of leaving now: a callback and what follows if something is wrong; infinite before a good run, and while the
        machine must not run."""
        p = self.problem
        if not p.may_leave:
            return float("inf")
        return float(p.class_weights @ self.policy.left_wrong)

    @cached_property
    def full_information_cost(self) -> float:
        """Expected cost if the truth were told for free."""
        return float(self.ledger.least_cost[0] @ self.problem.class_weights)


def _bits(like: Floats, weights: Floats, chance: Floats) -> float:
    """Information the check gives about which suspect is the truth, in bits."""
    return max(0.0, float(_entropy(chance[:, None])[0] - _entropy(like) @ weights))


def _entropy(p: Floats) -> Floats:
    return np.asarray(-xlogx(p).sum(axis=0))
