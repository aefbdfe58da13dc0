"""The floor: one who knows what is wrong."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from faultodds_cli.trial.visit import TrialJob
from faultodds_sim.repairs import CURES

#: How often one repair is done over when it does not take.
TRIES = 5


def clairvoyant(visit: TrialJob) -> None:
    """Does the cheapest repairs that truly put the machine right, over again where one does not take; runs it; leaves."""
    plan = _plan(visit)
    if plan is None:
        visit.hand_over()
        return
    visit.repair(_done(visit, plan))
    visit.close()


def _plan(visit: TrialJob) -> tuple[str, ...] | None:
    """The cheapest repairs after which the customer has nothing to complain of; None when handing over is cheaper."""
    refer = visit.appliance.knowledge.costs.refer
    second_best = None
    for price, names in _by_price(visit):
        if price >= refer:
            break
        works, comes_back = _tried(visit, names)
        if works and not comes_back:
            return names
        if works and second_best is None:
            second_best = names
    return second_best


def _tried(visit: TrialJob, names: tuple[str, ...]) -> tuple[bool, bool]:
    """Whether the machine would work after some repairs, and whether the customer would call again."""
    for name in _done(visit, names):
        visit.call.repair(name)
    result = visit.call.works(), visit.call.comes_back()
    visit.call.reset()
    return result


def _done(visit: TrialJob, names: tuple[str, ...]) -> list[str]:
    """The repairs, each as often as it takes on this call: the simulator's luck is the same every time."""
    out: list[str] = []
    for name in names:
        for _ in range(TRIES):
            out.append(name)
            if visit.call.repair(name):
                break
    visit.call.reset()
    return out


def _by_price(visit: TrialJob) -> Iterator[tuple[float, tuple[str, ...]]]:
    modes = sorted(visit.call.true_modes)
    cures = sorted({name for mode in modes for name in CURES.get(mode, ()) if visit.may(name)})
    sets = [names for size in range(len(cures) + 1) for names in combinations(cures, size)]
    yield from sorted((visit.price_of(names), names) for names in sets)
