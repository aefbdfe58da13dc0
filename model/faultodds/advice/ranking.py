"""Everything that can be done now, priced by the expected cost of the whole job and ranked."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from msgspec import Struct

from faultodds.advice.ledger import Ledger
from faultodds.advice.policy import CHECK, NOTHING_TOLD, REPAIR, RUN, Bools, Move, Policy
from faultodds.advice.problem import AS_GOOD_AS_FOUND, SOUND, Problem
from faultodds.advice.rollout import EVERY, Rollout
from faultodds.advice.situation import Price, run_forbidden
from faultodds.knowledge import Floats

# Rollout in two stages: (least branch followed, how many of the most promising moves).
STAGES = ((0.03, 8), (0.005, 4))
# Prices of a bit that the base policy is tried with, as shares of what the job would cost if the truth were told; after each
# first move the better one is followed.
BIT_PRICES = (0.4,)
# With no more classes and checks than this every branch is followed to its end, by several base policies.
SMALL = 8
MANY_BIT_PRICES = (0.1, 0.2, 0.3, 0.4, 0.6, 0.8, 1.6)

# A check that tells less than this about the suspects, in bits, tells nothing to speak of.
TELLS_NOTHING = 0.02


class CheckPrice(Struct, frozen=True):
    """One check: its own price, the expected cost of the whole job if it is done now, and what it may show."""

    name: str
    price: Price
    expected_cost: float
    bits: float
    outcomes: dict[str, float]

    @property
    def tells(self) -> bool:
        """Whether it tells anything to speak of.

        A cheap check that does not ranks high by its price alone; nobody wants to be sent to look at a gas cock when the burner has
        just been seen to light.
        """
        return self.bits >= TELLS_NOTHING


class RepairPrice(Struct, frozen=True):
    """Repairs done first (`together` beside `name`), with their run: chance that they put the machine right, their price,
    and the expected cost of the whole job."""

    name: str
    together: tuple[str, ...]
    price: Price
    chance: float
    expected_cost: float


def stages(effort: int) -> list[tuple[float, int]]:
    """The stages of rollout for a budget: each step of `effort` over 1 follows branches half as likely again."""
    least, width = STAGES[-1]
    return [*STAGES, *((least / 2**step, width) for step in range(1, effort))]


class Ranking:
    """Prices of everything that can be done now."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
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
    def _moves(self) -> list[Move]:
        """The moves worth pricing: checks that tell something, the verification run, every bundle."""
        p = self.problem
        verify = p.knowledge.costs.verify
        checks = [
            Move(RUN) if n == verify else Move(CHECK, c) for c, n in enumerate(p.check_names) if not self._idle[c]
        ]
        return checks + [Move(REPAIR, u) for u in range(len(p.bundles))]

    @cached_property
    def _prices(self) -> Floats:
        """Price of every check, then of every bundle; small problems to the last branch, larger ones in stages.

        A check that tells nothing costs its own price more than the best of what there is to do anyway.
        """
        p = self.problem
        small = max(len(p.masks), len(p.check_names)) <= SMALL
        out = np.empty(len(p.check_names) + len(p.bundles))
        worth = np.concatenate([~self._idle, np.ones(len(p.bundles), dtype=bool)])
        if self._moves:
            out[worth] = self._every_branch() if small else self._in_stages()
        best = min([p.refer_cost, *out[worth].tolist()])
        out[~worth] = best + self.ledger.check_cost[0][self._idle]
        return out

    def _every_branch(self) -> Floats:
        """Each move followed to the end of every branch, by the base policy that does best after it."""
        prices = np.array(MANY_BIT_PRICES) * self.policy.scale
        rollout = Rollout(self.policy, EVERY)
        return np.asarray(rollout.prices(self.problem.class_weights, self._moves, prices).min(axis=0))

    def _in_stages(self) -> Floats:
        """The base policy's estimate, made exact by rollout for the most promising moves.

        The estimates of the rest are moved by what rollout changed at the most promising one, and never come before it.
        """
        weights = self.problem.class_weights
        bit_prices = np.array(BIT_PRICES) * self.policy.scale
        out = self.policy.estimates(weights, self._moves, float(bit_prices[0]))
        run = [i for i, m in enumerate(self._moves) if m.kind == RUN and np.isfinite(out[i])]
        for least, width in stages(self.problem.situation.effort):
            # The run is always followed: the base policy puts it off, and hardly sees what a good one saves.
            first = np.argsort(out, kind="stable")[:width].tolist()
            best = [*first, *(i for i in run if i not in first)]
            rollout = Rollout(self.policy, least)
            priced = rollout.prices(weights, [self._moves[i] for i in best], bit_prices).min(axis=0)
            out = np.maximum(out + priced[0] - out[best[0]], priced.min() + 1e-6)
            out[best] = priced
        return out

    def _going_on(self, weights: Floats) -> float:
        """Cost of the whole job from `weights` by the base policy that does it cheapest."""
        prices = np.array(BIT_PRICES) * self.policy.scale
        return float(Rollout(self.policy, stages(self.problem.situation.effort)[-1][0]).whole(weights, prices).min())

    @cached_property
    def checks(self) -> list[CheckPrice]:
        """Every open check, cheapest expected job first (file order where equal); while another still tells, those for
        qualified people come last."""
        p = self.problem
        chance = p.class_likelihood @ p.class_weights
        out = []
        for c, name in enumerate(p.check_names):
            rows = p.rows[name]
            outcomes = dict(zip(p.belief.suspects.observables[name], chance[rows].tolist(), strict=True))
            bits = _bits(p.suspect_likelihood[rows], p.weights, chance[rows])
            out.append(CheckPrice(name, p.price_check(name), float(self._prices[c]), bits, outcomes))
        qualified = {c.name: p.knowledge.check[c.name].qualified for c in out}
        wait = any(c.tells and not qualified[c.name] for c in out)
        return sorted(out, key=lambda c: (wait and qualified[c.name], c.expected_cost))

    @property
    def others_tell(self) -> bool:
        """Whether a check that anybody may do still tells something."""
        return any(c.tells and not self.problem.knowledge.check[c.name].qualified for c in self.checks)

    @cached_property
    def repairs(self) -> list[RepairPrice]:
        """Every bundle done first, cheapest expected job first; those for qualified people last while a check that anybody may
        do still tells something, but for a fault as good as found."""
        p = self.problem
        wrong = np.where(p.masks == SOUND, 0.0, p.class_weights)
        finishes = self.ledger.left == int(np.searchsorted(p.masks, SOUND))
        chances = (finishes @ wrong) * self.ledger.bundle_success
        prices = self._prices[len(p.check_names) :]
        out = [
            RepairPrice(names[0], names[1:], p.price_repairs(names), float(chances[u]), float(prices[u]))
            for u, names in enumerate(p.bundles)
            if not run_forbidden(p.knowledge, p.belief.evidence, p.belief, p.known, names)
        ]
        return sorted(out, key=lambda r: (self._waits((r.name, *r.together)), r.expected_cost))

    def _waits(self, names: tuple[str, ...]) -> bool:
        qualified = any(self.problem.knowledge.repair[n].qualified for n in names)
        return qualified and self.others_tell and self.problem.found(names) < AS_GOOD_AS_FOUND

    @cached_property
    def stop_cost(self) -> float:
        """Price of leaving now: a callback and what follows if something is wrong; infinite before a good run."""
        p = self.problem
        if not p.verified:
            return float("inf")
        wrong = np.where(p.masks == SOUND, 0.0, p.class_weights)
        return float(wrong.sum()) * (p.callback_cost + self._going_on(wrong / max(float(wrong.sum()), 1e-12)))

    @cached_property
    def full_information_cost(self) -> float:
        """Expected cost if the truth were told for free."""
        return float(self.ledger.class_cost[0] @ self.problem.class_weights)


def _bits(like: Floats, weights: Floats, chance: Floats) -> float:
    """Information the check gives about which suspect is the truth, in bits."""
    return max(0.0, float(_entropy(chance[:, None])[0] - _entropy(like) @ weights))


def _entropy(p: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(p > 0, p * np.log2(p), 0.0)
    return np.asarray(-terms.sum(axis=0))
