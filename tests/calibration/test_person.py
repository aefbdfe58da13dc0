"""Many drills of people whose worth is known."""

from __future__ import annotations

import numpy as np
import pytest
from msgspec.structs import replace

from faultodds.calibration import Drilled, Person, bounded, favourite, person, sure_curve, too_sure

FAULTS = tuple(f"fault{n}" for n in range(34))


def _people(power: float, drills: int, seed: int = 0) -> Person:
    found = person(_drills(power, drills, seed), FAULTS)
    assert found is not None
    return found


def _drills(power: float, drills: int, seed: int = 0) -> list[Drilled]:
    """Of somebody whose beliefs are right on average, and who says them as sharpened by `power`."""
    rng = np.random.default_rng(seed)
    done = []
    for number in range(drills):
        alpha = np.full(len(FAULTS), 0.08)
        steps, belief = [], rng.dirichlet(alpha)
        truth = int(rng.choice(len(FAULTS), p=belief))
        for _ in range(4):
            said = belief**power / (belief**power).sum()
            steps.append(bounded({FAULTS[i]: float(said[i]) for i in np.argsort(-said)[:3]}))
        done.append(Drilled(f"1-{number}", FAULTS[truth], steps, 150.0, 120.0))
    return done


def test_one_who_is_right_is_neither_over_nor_under_confident() -> None:
    """And his score, taken apart, adds up."""
    p = _people(1.0, 150)
    assert p.too_sure is not None
    assert p.too_sure.clear == 0
    assert p.parts.score == pytest.approx(
        p.parts.reliability - p.parts.resolution + p.parts.uncertainty + p.parts.leftover
    )
    assert p.brier.value == pytest.approx(p.parts.score)
    assert p.lost is not None
    assert p.lost.value == pytest.approx(30.0)


def test_over_and_under_confidence_are_told_apart() -> None:
    """The same beliefs said too surely or too timidly; both score worse than said as they are."""
    right, over, under = _people(1.0, 150), _people(4.0, 150), _people(0.5, 150)
    assert over.too_sure is not None
    assert under.too_sure is not None
    assert (over.too_sure.clear, under.too_sure.clear) == (1, -1)
    assert right.brier.value < min(over.brier.value, under.brier.value)
    assert right.log.value < min(over.log.value, under.log.value)


def test_nobody_is_called_too_sure_for_what_could_not_be_known() -> None:
    """Where the program's own odds from the same findings are as much too sure, more could not be known; who says more than they
    do is called over-confident all the same, and so is one of whom nothing is kept to compare."""
    done = _drills(4.0, 150)
    own = [[too_sure(f, d.truth, FAULTS) for f in d.forecasts] for d in done]
    alike = person([replace(d, program=gaps) for d, gaps in zip(done, own, strict=True)], FAULTS)
    worse = person([replace(d, program=[g / 3 for g in gaps]) for d, gaps in zip(done, own, strict=True)], FAULTS)
    alone = person(done, FAULTS)
    assert alike is not None and worse is not None and alone is not None
    assert alike.too_sure is not None
    assert alike.too_sure == alike.program
    assert alike.too_sure.clear == 1
    assert (alike.verdict, worse.verdict, alone.verdict) == (0, 1, 1)


def test_intervals_hold_what_they_should() -> None:
    """Of people who are right, about one in twenty is called over- or under-confident; drills drawn whole, not steps."""
    wrong = sum(_people(1.0, 30, seed).too_sure.clear != 0 for seed in range(60))  # type: ignore[union-attr]
    assert wrong <= 9


def test_the_curve_of_one_who_is_right_is_the_diagonal_and_of_an_over_confident_one_is_not() -> None:
    """By fifths, in order; a drill of many steps counts once for the interval; drills chosen for a trap do not count."""
    right, over = (sure_curve(_drills(power, 400), FAULTS) for power in (1.0, 4.0))
    assert [p.stated for p in right] == sorted(p.stated for p in right)
    assert all(p.low <= p.stated <= p.high for p in right if p.jobs >= 20)
    assert sum(p.stated > p.high for p in over if p.jobs >= 20) >= 2
    one = Drilled("1-1", FAULTS[1], [{FAULTS[1]: 0.9}] * 50)
    assert [p.jobs for p in sure_curve([one], FAULTS)] == [1]
    assert sure_curve([replace(one, chosen=True)], FAULTS) == ()


def test_a_fault_called_too_often_is_named() -> None:
    """One who says the first fault at every call."""
    done = [Drilled(f"1-{n}", FAULTS[1 + n % 3], [{FAULTS[0]: 0.8}]) for n in range(9)]
    p = person(done, FAULTS)
    assert p is not None
    assert (p.faults[0].name, p.faults[0].was, p.faults[0].more.clear) == (FAULTS[0], 0, 1)
    assert {c.name for c in p.faults if c.more.value < 0} == set(FAULTS[1:4])


def test_few_drills_and_traps_say_nothing_of_how_sure() -> None:
    """Under five fair drills there is no verdict; calls chosen for a trap do not count for it."""
    trap = Drilled("4-1", FAULTS[1], [{FAULTS[0]: 0.9}], chosen=True)
    p = person([trap] * 20, FAULTS)
    assert p is not None
    assert p.too_sure is None
    assert person([], FAULTS) is None
    assert person([Drilled("1-1", FAULTS[1], [])], FAULTS) is None


def test_no_idea_is_no_favourite() -> None:
    """Who has no idea is not sure of the first fault on the list: such steps count in the scores, and not for how sure he is, nor
    in the program's beside him; faults that lead alike share the credit."""
    steps = [{}, {FAULTS[3]: 0.01}, {FAULTS[1]: 0.6}]
    done = [Drilled(f"1-{n}", FAULTS[1], list(steps), program=[0.5, 0.5, -0.4]) for n in range(9)]
    p = person(done, FAULTS)
    assert p is not None
    assert (p.sure, p.right, p.steps, p.no_favourite) == (0.6, 1.0, 27, 18)
    assert p.program is not None and p.program.value == pytest.approx(-0.4)
    assert [(c.stated, c.jobs) for c in sure_curve(done, FAULTS)] == [(0.6, 9)]
    nobody = person([Drilled("1-1", FAULTS[0], [{}])] * 9, FAULTS)
    assert nobody is not None
    assert (nobody.sure, nobody.right, nobody.too_sure, nobody.verdict) == (None, None, None, 0)
    assert nobody.brier.value == pytest.approx(nobody.even[0])
    assert favourite({FAULTS[0]: 0.4, FAULTS[1]: 0.4}, FAULTS[1], FAULTS) == (0.4, 0.5)
