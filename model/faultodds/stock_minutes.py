"""Minutes on site, before the visit: how long such a call takes with a given van, on average and for planning the day.

Calls are played out: the truth is drawn from the fault odds at fixed, evenly spread points, for each kind of machine
it may turn out to be (timer or board ...), and the advice's base policy (`advice/policy.py`) works on it, whatever
the checks then show, until the machine passes its run. Same inputs, same minutes. It is an estimate of what following
`faultodds next` takes, which looks further ahead at every move; `tests/benchmarks/bench_stock.py` prints the
difference. The clock starts at the closed machine and ends when all is closed up again. When the policy would fit a
part that is not aboard, or have others come, the visit ends there. Travel, talk and paperwork are not in it.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection
from functools import cached_property

import numpy as np

from faultodds.advice import Problem, Situation
from faultodds.advice.ledger import Ledger
from faultodds.advice.policy import CHECK, REFER, REPAIR, Policy
from faultodds.advice.problem import HOPELESS
from faultodds.advice.ranking import BIT_PRICES, STAGES
from faultodds.advice.rollout import DEPTH, Rollout
from faultodds.advice.stopping import even_points
from faultodds.belief import Belief, Evidence, infer, main_cause_weights
from faultodds.errors import ClashError
from faultodds.knowledge import repair_modes
from faultodds.records import dataclass
from faultodds.schema import UNLISTED_MODE, Check, Repair, Symptom
from faultodds.stock import Ints, Stock
from faultodds.tables import Floats

# Calls played out for one answer.
PLAYED = 400
# Kinds of machine less likely than this are left out.
RARE = 0.01
# The share of calls that are over by the time to plan for.
PLANNED = 0.8
# Chances that add up to less than this cannot be told from none.
FAINT = 1e-12
FAINT = 1e-12
FINISHED, WAITING, HANDED_OVER = range(3)


@dataclass(frozen=True)
class OnSite:
    """Minutes on site: `mean` with its standard error, and `planned`, within which `PLANNED` of such calls are over.

    `finished`, `waiting` (for a part that is not aboard, or for others) and `handed_over`: how often visits ended so.
    """

    mean: float
    error: float
    planned: float
    finished: float
    waiting: float
    handed_over: float


def on_site(stock: Stock, aboard: Collection[str], played: int = PLAYED) -> OnSite:
    """Minutes on site with these parts aboard."""
    kinds = machines(stock)
    plays = [_Play(stock, belief, aboard, max(2, round(share * played))).ends() for share, belief in kinds]
    minutes = np.concatenate([m for m, _ in plays])
    ending = np.concatenate([e for _, e in plays])
    weight = np.concatenate([np.full(len(m), share / len(m)) for (share, _), (m, _) in zip(kinds, plays, strict=True)])
    order = np.argsort(minutes, kind="stable")
    reached = int(np.searchsorted(np.cumsum(weight[order]), PLANNED - 1e-9))
    mean = float(weight @ minutes)
    error = float(np.sqrt(weight @ (minutes - mean) ** 2 / len(minutes)))
    ends = np.bincount(ending, weight, minlength=3).tolist()
    return OnSite(mean, error, float(minutes[order[min(reached, len(order) - 1)]]), *ends)


def machines(stock: Stock) -> list[tuple[float, Belief]]:
    """The kinds of machine it may turn out to be, each with its chance and the belief given it; a look at it tells
    which.
    """
    k, s, evidence = stock.knowledge, stock.belief.suspects, stock.belief.evidence
    asked = [f for f in k.equipment if f not in evidence.facts and _matters(stock, f)]
    found = []
    for values in itertools.product(*(k.equipment[f].values for f in asked)):
        facts = {**evidence.facts, **dict(zip(asked, values, strict=True))}
        try:
            belief = infer(s, Evidence(facts, evidence.seen, evidence.repairs))
        except ClashError:
            continue  # no such machine shows what was found
        found.append((float(main_cause_weights(s, facts).sum()), belief))
    if not found:
        return [(1.0, stock.belief)]
    most = max(belief.log_evidence for _, belief in found)
    shares = np.array([w * np.exp(belief.log_evidence - most) for w, belief in found])
    shares = np.where(shares >= RARE * shares.sum(), shares, 0.0)
    return [(float(p), b) for p, (_, b) in zip(shares / shares.sum(), found, strict=True) if p > 0]


def _matters(stock: Stock, fact: str) -> bool:
    """Whether an equipment fact decides which parts the machine has or what work is offered."""
    k = stock.knowledge
    work: tuple[Check | Repair | Symptom, ...] = (*k.check.values(), *k.repair.values(), *k.symptom.values())
    return bool(k.equipment[fact].lacks) or any(fact in w.needs for w in work)


class _Play:
    """Calls on one kind of machine, all played at once. N calls, K classes of suspects, S machine states."""

    def __init__(self, stock: Stock, belief: Belief, aboard: Collection[str], count: int) -> None:
        at = stock.situation
        skipped = at.skipped | replaced(stock, aboard)
        self.problem = Problem(stock.appliance, belief, Situation(at.state, skipped, at.qualified, at.labour_rate))
        self.policy = Policy(self.problem, Ledger(self.problem))
        cannot = {n for n, r in stock.repairs.items() if r.by_others} | (set(stock.parts) - set(aboard))
        self.ends_there = np.array([any(n in cannot for n in b) for b in self.problem.bundles], dtype=bool)
        self.points = even_points(count, DEPTH + 1)
        s, p = belief.suspects, self.problem
        spread = np.minimum(np.searchsorted(np.cumsum(p.weights), self.points[0]), len(p.active) - 1)
        self.truth = p.active[spread].astype(np.int64)
        self.chances = np.repeat(belief.now[None], count, axis=0)
        self.class_of = self._classes()
        self.state = np.zeros(count, dtype=np.int64)
        self.done = np.zeros((count, len(p.check_names)), dtype=bool)
        self.minutes = np.zeros(count)
        self.ending = np.full(count, HANDED_OVER)
        self.sound = s.sound

    def _classes(self) -> Ints:
        """(H,) class of every suspect by the repairs it needs; K where it has none among the problem's."""
        p = self.problem
        s = p.belief.suspects
        place = {name: i for i, name in enumerate(p.needed)}
        masks = np.zeros(len(s.member), dtype=np.int64)
        hopeless = np.zeros(len(s.member), dtype=bool)
        for i, mode in enumerate(s.modes):
            repair = p.mode_repair.get(mode) if mode != UNLISTED_MODE else None
            if repair in place:
                masks[s.member[:, i]] |= 1 << place[repair]
            else:
                hopeless |= s.member[:, i]
        masks = np.where(hopeless, HOPELESS, masks)
        at = np.minimum(np.searchsorted(p.masks, masks), len(p.masks) - 1)
        return np.where(p.masks[at] == masks, at, len(p.masks))

    def _weights(self, calls: Ints) -> Floats:
        """(n, K) chance of each class in some of the calls."""
        count = len(self.problem.masks)
        found = np.array(
            [np.bincount(self.class_of, self.chances[n], minlength=count + 1)[:count] for n in calls.tolist()]
        )
        total = found.sum(axis=1, keepdims=True)
        # A belief that has left the classes altogether is told nothing by them: as at the door.
        return np.asarray(np.where(total > FAINT, found / np.maximum(total, FAINT), self.problem.class_weights))

    def ends(self) -> tuple[Floats, Ints]:
        """(N,) minutes and ending of every call; one that is still open after `DEPTH` moves is handed over."""
        playing = np.arange(len(self.truth))
        for turn in range(1, DEPTH + 1):
            if not len(playing):
                break
            weights = self._weights(playing)
            choice = self.policy.choose(weights, self.state[playing], self.done[playing], self._bit_price)
            over = np.zeros(len(playing), dtype=bool)
            for i, (n, move, which) in enumerate(zip(playing.tolist(), choice.move, choice.which, strict=True)):
                over[i] = self._one(n, int(move), int(which), float(self.points[turn, n]))
            playing = playing[~over]
        return self.minutes, self.ending

    def _one(self, n: int, move: int, which: int, point: float) -> bool:
        """One move on one call; whether the visit is over."""
        if move == REFER or (move == REPAIR and self.ends_there[which]):
            self.ending[n] = HANDED_OVER if move == REFER else WAITING
            return True
        if move == CHECK:
            self._check(n, which, point)
        elif move == REPAIR:
            self._repair(n, which, point)
        else:
            self._run(n)
        if move != CHECK and self.truth[n] == self.sound:
            self.ending[n] = FINISHED
            return True
        return False

    def _check(self, n: int, which: int, point: float) -> None:
        """Do a check: it shows what the truth makes likely, and the belief follows."""
        p, ledger = self.problem, self.policy.ledger
        name = p.check_names[which]
        s = p.belief.suspects
        self.minutes[n] += self._check_minutes[self.state[n], which]
        shown = np.cumsum(s.likelihood[s.rows[name], self.truth[n]])
        outcome = min(int(np.searchsorted(shown, point * shown[-1])), len(shown) - 1)
        self._now(n, self.chances[n] * s.likelihood[s.rows[name].start + outcome])
        self.state[n] = ledger.check_next[self.state[n], which]
        self.done[n, which] = True

    def _repair(self, n: int, which: int, point: float) -> None:
        """Do repairs and the run: each takes with its own chance, all by one point."""
        p, ledger = self.problem, self.policy.ledger
        self.minutes[n] += self._bundle_minutes[self.state[n], which]
        for name in p.bundles[which]:
            repair = p.knowledge.repair[name]
            removal = p.belief.suspects.removal(repair_modes(p.knowledge, repair))
            if point < repair.success:
                self.truth[n] = int(removal[self.truth[n]])
            point = (
                point / repair.success if point < repair.success else (point - repair.success) / (1.0 - repair.success)
            )
            took = np.bincount(removal, self.chances[n], minlength=len(removal))
            self.chances[n] = repair.success * took + (1.0 - repair.success) * self.chances[n]
        self.state[n] = ledger.bundle_next[self.state[n], which]
        self.done[n] = False  # what was looked at before may show something else now
        self._not_good(n)

    def _run(self, n: int) -> None:
        """Run the machine: taken to tell for sure whether it is right."""
        self.minutes[n] += self._run_minutes[self.state[n]]
        self.state[n] = self.policy.ledger.verify_next[self.state[n]]
        self._not_good(n)

    def _not_good(self, n: int) -> None:
        """The belief after a run that was not good."""
        left = self.chances[n].copy()
        left[self.sound] = 0.0
        self._now(n, left)

    def _now(self, n: int, chances: Floats) -> None:
        total = chances.sum()
        if total > FAINT:
            self.chances[n] = chances / total

    # --- tables ---

    @cached_property
    def _check_minutes(self) -> Floats:
        """(S, C) minutes of every check from every machine state, closing up charged with the opening."""
        p = self.problem
        return self._table([[p.price_check(n, s).minutes for n in p.check_names] for s in self.policy.ledger.states])

    @cached_property
    def _bundle_minutes(self) -> Floats:
        """(S, U) minutes of every bundle with its run."""
        p = self.problem
        return self._table([[p.price_repairs(b, s).minutes for b in p.bundles] for s in self.policy.ledger.states])

    @cached_property
    def _run_minutes(self) -> Floats:
        """(S,) minutes of a run."""
        p = self.problem
        return np.array([p.price_check(p.knowledge.costs.verify, s).minutes for s in self.policy.ledger.states])

    @staticmethod
    def _table(rows: list[list[float]]) -> Floats:
        return np.array(rows, dtype=float).reshape(len(rows), -1)

    @cached_property
    def _bit_price(self) -> float:
        """The price of a bit at which the policy does the job cheapest."""
        prices = np.array(BIT_PRICES) * self.policy.scale
        costs = Rollout(self.policy, STAGES[-1][0]).whole(self.problem.class_weights, prices)
        return float(prices[costs.argmin()])


def replaced(stock: Stock, aboard: Collection[str]) -> frozenset[str]:
    """Repairs whose part is not aboard while the van can put right all that they do: those are done instead."""
    k = stock.knowledge
    can = {m for n, r in stock.repairs.items() if n in aboard or not r.cost for m in repair_modes(k, r)}
    return frozenset(n for n in stock.parts if n not in aboard and set(repair_modes(k, stock.repairs[n])) <= can)


__all__ = ["FINISHED", "HANDED_OVER", "PLANNED", "PLAYED", "WAITING", "OnSite", "machines", "on_site", "replaced"]
