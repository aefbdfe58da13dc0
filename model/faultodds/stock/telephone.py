"""Before the visit: the questions whose answers would change what is worth loading.

Whatever else an answer is good for can be asked at the door for the same minutes; the van is loaded before. What a question is
worth here is what the best load saves after each answer, weighed by the chances of the answers, less what the best load saves
without it. Loads are found by climbing: part after part, then one for another, while that saves more. Every load met is weighed
with every answer, so that no answer seems to make a load worse.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from faultodds.advice import QuestionPrice, answer_likelihood, open_questions
from faultodds.knowledge import Floats
from faultodds.stock.needs import Limit
from faultodds.stock.stock import Stock

# Answers, and pairs of answers, less likely than this are weighed with the loads that others led to.
SELDOM = 0.005
# So many answers to the questions chosen before, the likeliest, are kept apart.
APART = 12
# A load is better when it saves this share of a visit more: what adds less is noise of the sums.
BETTER = 1e-9


class LoadQuestion(QuestionPrice, frozen=True):
    """A question, what asking it saves through a load that fits, and for each answer, nothing else told, the parts of the best
    load within the limits."""

    loads: Mapping[str, tuple[str, ...]]


def load_questions(stock: Stock, limit: Limit, count: int) -> list[LoadQuestion]:
    """The questions to put on the telephone, best first, each by what it saves beside those before it; none that saves no more
    than asking costs. `limit`: what limits the van. Raises FaultoddsError for a limit that makes no sense, UnknownName for a
    part.
    """
    belief, costs, situation = stock.belief, stock.knowledge.costs, stock.situation
    rate = costs.labour_rate if situation.labour_rate is None else situation.labour_rate
    asking = costs.ask_minutes * rate / 60.0
    loads = _Loads(stock, limit)
    questions = open_questions(stock.knowledge, belief.evidence, situation.skipped, telephone=True)
    left = [(q, answer_likelihood(belief, q)) for q in questions]
    told, chosen = belief.now[None], list[LoadQuestion]()
    while left and len(chosen) < count:
        now, *after = loads.saved([stock.masses(told), *(stock.masses(_both(told, like)) for _, like in left)])
        worth = [x - now - asking for x in after]
        best = int(np.argmax(worth))
        if worth[best] <= 0:
            break
        question, like = left.pop(best)
        chances = dict(zip(question.answers, (like @ belief.now).tolist(), strict=True))
        then = dict(zip(question.answers, map(loads.best, stock.masses(like * belief.now)), strict=True))
        chosen.append(LoadQuestion(question, chances, costs.ask_minutes, worth[best], then))
        told = _likeliest(_both(told, like))
    return chosen


def _both(told: Floats, like: Floats) -> Floats:
    """(T * V, H) weights of the suspects after what has been told and each answer more."""
    return np.asarray((told[:, None] * like[None]).reshape(-1, told.shape[1]))


def _likeliest(told: Floats) -> Floats:
    """The likeliest rows, all others as one: as though nobody could tell them apart."""
    order = np.argsort(-told.sum(axis=1), kind="stable")
    return np.vstack([told[order[:APART]], told[order[APART:]].sum(axis=0)])


@dataclass
class _Loads:
    """What the best load saves, for beliefs over the same groups."""

    stock: Stock
    limit: Limit
    known: dict[frozenset[str], Floats] = field(default_factory=dict)
    tops: dict[frozenset[str], Floats] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.carried = frozenset(self.stock.named(self.limit.carried))
        self.parts = [p for p in self.stock.parts if p not in self.carried]
        self.price = {p: self.stock.knowledge.repair[p].cost for p in self.parts}
        best = self.carried | {p.name for p in self.stock.load(self.limit).parts}
        self.tops[best] = self._saves(best)

    def saved(self, several: Sequence[Floats]) -> list[float]:
        """For each (V, G) of masses of the groups, one row an answer, what the best loads save over all its rows."""
        for rows in several:
            for row in rows[rows.sum(axis=1) >= SELDOM]:
                self._climb(row)
        tops = np.array(list(self.tops.values()))
        return [float((rows @ tops.T).max(axis=1).sum()) for rows in several]

    def best(self, mass: Floats) -> tuple[str, ...]:
        """The parts of the best load that is known, in file order."""
        load = max(self.tops, key=lambda load: float(self.tops[load] @ mass))
        return tuple(p for p in self.stock.parts if p in load)

    def _climb(self, mass: Floats) -> None:
        """Keep the loads from which no step saves more, going from the best one that is known and, where there is
        little room, from the van as it is."""
        tops = list(self.tops)
        values = np.array([self.tops[load] for load in tops]) @ mass
        starts = [tops[int(values.argmax())], *([] if self.limit.is_free else [self.carried])]
        for load in starts:
            value = float(self._saves(load) @ mass)
            while near := list(self._near(load)):
                values = np.array([self._saves(n) for n in near]) @ mass
                if values.max() <= value + BETTER * self.stock.visit_cost:
                    break
                load, value = near[int(values.argmax())], float(values.max())
            self.tops[load] = self._saves(load)

    def _near(self, load: frozenset[str]) -> Iterator[frozenset[str]]:
        """The loads within the limits that have one part more or less, or, where there is little room, one for another."""
        for part in self.parts:
            if part in load:
                yield load - {part}
                continue
            instead = [] if self.limit.is_free else [load - {p} | {part} for p in load - self.carried]
            yield from (x for x in (load | {part}, *instead) if self._fits(x))

    def _fits(self, load: frozenset[str]) -> bool:
        extra = load - self.carried
        most, room = self.limit.budget, self.limit.shelf
        return (room is None or len(extra) <= room) and (most is None or sum(self.price[p] for p in extra) <= most)

    def _saves(self, load: frozenset[str]) -> Floats:
        """(G,) what a load saves each group, carrying it paid where nothing limits the van."""
        if load not in self.known:
            carrying = sum(map(self.stock.carrying, load - self.carried)) if self.limit.is_free else 0.0
            self.known[load] = self.stock.finishing(load)[1] - carrying
        return self.known[load]
