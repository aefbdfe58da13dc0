"""Which answers would change the load: held against every load after every answer, straight from the rule."""

from __future__ import annotations

import math

import numpy as np
import pytest

from faultodds.advice import Question, answer_likelihood, open_questions
from faultodds.belief import Evidence, WeighedFinding, infer, open_appliance
from faultodds.errors import FaultoddsError
from faultodds.stock import Limit, Stock, load_questions
from random_stock import loads, random_stock, ways_out

LIMITS = [Limit(), Limit(budget=60), Limit(budget=130), Limit(shelf=1), Limit(shelf=2), Limit(90, 2)]


def asking(stock: Stock) -> float:
    """What asking one question costs."""
    return stock.knowledge.costs.ask_minutes * stock.knowledge.costs.labour_rate / 60.0


def saved_by(seed: int, limit: Limit) -> tuple[np.ndarray, np.ndarray]:
    """(L, H) what every load within the limits saves for every suspect, and (L,) what carrying it costs."""
    stock = random_stock(seed)
    k, visit = stock.knowledge, stock.visit_cost
    price = {n: r.minutes * k.costs.labour_rate / 60 + r.cost for n, r in k.repair.items()}
    rows, carrying = [], []
    for aboard in loads(stock, limit):
        row = []
        for _, options in ways_out(seed):
            extra = 0.0
            for o in options:
                mine = [price[n] for n in o if n in aboard]
                extra += min(mine) - min(price[n] for n in o) if mine else math.inf
            row.append(visit - extra if extra == 0 or extra < visit else 0.0)
        rows.append(row)
        carrying.append(sum(map(stock.carrying, aboard)) if limit.is_free else 0.0)
    return np.array(rows), np.array(carrying)


def by_hand(seed: int, limit: Limit, told: list[Question]) -> float:
    """What the best load for each set of answers saves, weighed by its chance."""
    stock = random_stock(seed)
    saves, carrying = saved_by(seed, limit)
    weights = stock.belief.now[None]
    for question in told:
        like = answer_likelihood(stock.belief, question)
        weights = (weights[:, None] * like[None]).reshape(-1, weights.shape[1])
    return float(sum((saves @ w - carrying * w.sum()).max() for w in weights))


@pytest.mark.parametrize("limit", LIMITS)
@pytest.mark.parametrize("seed", range(8))
def test_questions_are_worth_what_they_save_in_loads(seed: int, limit: Limit) -> None:
    """The first is the best of all, the second the best beside it, and each price is right."""
    stock = random_stock(seed)
    chosen = load_questions(stock, limit, 2)
    questions = open_questions(stock.knowledge, stock.belief.evidence)
    before: list[Question] = []
    for price in [*chosen, None]:
        if len(before) == 2:
            break
        now = by_hand(seed, limit, before)
        left = [q for q in questions if q not in before]
        worth = {q.name: by_hand(seed, limit, [*before, q]) - now - asking(stock) for q in left}
        slack = 2e-6 * stock.visit_cost
        if price is None:
            assert max(worth.values(), default=0.0) <= slack
            break
        assert price.worth == pytest.approx(worth[price.question.name], abs=slack)
        assert price.worth >= max(worth.values()) - slack
        assert sum(price.chances.values()) == pytest.approx(1.0)
        before.append(price.question)


def test_the_load_after_an_answer_is_the_best_one() -> None:
    """Every load shown saves as much as any other within the limits does after that answer."""
    limit = Limit(budget=130)
    for seed in range(8):
        stock = random_stock(seed)
        saves, _ = saved_by(seed, limit)
        every = [frozenset(some) for some in loads(stock, limit)]
        for price in load_questions(stock, limit, 2):
            for row, load in zip(answer_likelihood(stock.belief, price.question), price.loads.values(), strict=True):
                after = saves @ (stock.belief.now * row)
                assert after[every.index(frozenset(load))] >= after.max() - 2e-6 * stock.visit_cost


def test_where_everything_fits_nothing_hangs_on_an_answer() -> None:
    """A van with room and money for all: what is carried changes by next to nothing. With room for three it does."""
    dryer = open_appliance("gas_dryer", revision="file")
    belief = infer(dryer.suspects, Evidence({}, (WeighedFinding("heat", {"none": 1.0}),)))
    stock = Stock(dryer, belief)
    assert sum(q.worth for q in load_questions(stock, Limit(), 3)) < 0.001 * stock.visit_cost
    few = load_questions(stock, Limit(shelf=3), 3)
    assert few[0].question.name == "drum_still"
    assert "belt_idler" in few[0].loads["yes"] and "belt_idler" not in few[0].loads["no"]
    assert all(len(load) <= 3 for q in few for load in q.loads.values())


def test_what_is_aboard_already_is_not_asked_for_again() -> None:
    """With every part aboard nothing can be added, and no answer is worth anything."""
    stock = random_stock(3)
    assert load_questions(stock, Limit(shelf=2, carried=tuple(stock.parts)), 3) == []
    with pytest.raises(FaultoddsError):
        load_questions(stock, Limit(shelf=-1), 3)
