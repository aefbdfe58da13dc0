"""The inputs of a decision that can be varied one at a time: odds, prices, minutes, and how far a check can be trusted."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

import numpy as np
import numpy.typing as npt
from msgspec import structs

from faultodds.advice.advisor import NextMove
from faultodds.advice.problem import Problem
from faultodds.advice.situation import Situation
from faultodds.belief import Appliance, Belief
from faultodds.knowledge import UNLISTED, UNLISTED_MODE, Check, Costs, Floats, Knowledge, Repair

Record = TypeVar("Record", Costs, Check, Repair)
Kind = Literal["odds", "money", "minutes", "blind", "mistakes"]

# How far an input is moved, as a factor either way: far past what a shop could find its own figures to be.
ODDS_RANGE, LABOUR_RANGE, PRICE_RANGE, MINUTES_RANGE = 20.0, 3.0, 4.0, 5.0
# The likeliest components that are looked into, and the least chance that is.
COMPONENTS = 5
LEAST_CHANCE = 0.02
# Chances are kept this far from 0 and 1.
EDGE = 0.001


@dataclass(frozen=True)
class Case:
    """Everything that a decision rests on."""

    appliance: Appliance
    belief: Belief
    situation: Situation


@dataclass(frozen=True)
class Input:
    """One input: its value now, the ends of the range it is varied in, and how a case looks with another value.

    `kind`: odds are chances, money and minutes what they say. `blind` is the share of looks in which a check tells nothing
    (0 as the file has it, 1 useless); `mistakes` the share left of the mistakes it makes (1 as the file has it, 0 none).
    """

    name: str
    title: str
    kind: Kind
    now: float
    low: float
    high: float
    case: Callable[[Case, float], Case]

    def between(self, a: float, b: float, along: float) -> float:
        """A share of the way from one value to another: in log-odds for chances, in proportion for amounts, plainly for shares."""
        if self.kind == "odds":
            return 1.0 / (1.0 + math.exp(-(1.0 - along) * _log_odds(a) - along * _log_odds(b)))
        if self.kind in ("money", "minutes"):
            return float(a ** (1.0 - along) * b**along)
        return (1.0 - along) * a + along * b

    def apart(self, a: float, b: float) -> float:
        """How far two values are from each other, measured as in `between`."""
        if self.kind == "odds":
            return abs(_log_odds(a) - _log_odds(b))
        if self.kind in ("money", "minutes"):
            return abs(math.log(a / b))
        return abs(a - b)


def _log_odds(p: float) -> float:
    return math.log(p / (1.0 - p))


def inputs_for(case: Case, moves: Sequence[NextMove]) -> list[Input]:
    """The inputs that may matter for choosing between `moves`, the one advised first."""
    return [*_odds_inputs(case), *_shop_inputs(case), *_work_inputs(case, moves), *_trust_inputs(moves, case)]


# ---- odds ----


def _odds_inputs(case: Case) -> Iterator[Input]:
    """The likeliest components, and a machine with nothing wrong."""
    s, now, k = case.belief.suspects, case.belief.now, case.appliance.knowledge
    groups: list[tuple[float, str, str, npt.NDArray[np.bool_]]] = []
    for name in (*k.component, UNLISTED):
        modes = k.modes_under(name) if name in k.component else [UNLISTED_MODE]
        holds = np.any(s.member[:, [s.mode_index[m] for m in modes]], axis=1)
        groups.append((float(now @ holds), name, _component_title(k, name, modes), holds))
    nothing = ~np.any(s.member, axis=1)
    groups.append((float(now @ nothing), "nothing_wrong", "nothing wrong", nothing))
    likely = [g for g in groups if LEAST_CHANCE <= g[0] <= 1.0 - EDGE]
    for chance, name, title, holds in sorted(likely, key=lambda g: -g[0])[:COMPONENTS]:
        odds = chance / (1.0 - chance)
        low, high = (x / (1.0 + x) for x in (odds / ODDS_RANGE, odds * ODDS_RANGE))
        yield Input(
            f"odds.{name}", title, "odds", chance, max(low, EDGE), min(high, 1.0 - EDGE), _with_odds(chance, holds)
        )


def _component_title(k: Knowledge, name: str, modes: Sequence[str]) -> str:
    return k.title_of(modes[0]) if len(modes) == 1 else k.component[name].title


def _with_odds(now: float, holds: npt.NDArray[np.bool_]) -> Callable[[Case, float], Case]:
    """The odds of the suspects that hold something multiplied so that their chance becomes what is asked for."""

    def changed(case: Case, chance: float) -> Case:
        factor = math.exp(_log_odds(chance) - _log_odds(now))
        weights = np.where(holds, factor, 1.0) * case.belief.now
        belief = structs.replace(case.belief, now=weights / weights.sum())
        return dataclasses.replace(case, belief=belief)

    return changed


# ---- money and minutes ----


def _shop_inputs(case: Case) -> Iterator[Input]:
    """Labour, handing over, and the callback where leaving is open."""
    costs, given = case.appliance.knowledge.costs, case.situation.labour_rate
    rate = costs.labour_rate if given is None else given
    yield from _amount("labour_rate", "labour, an hour", "money", rate, LABOUR_RANGE, _with_rate)
    yield from _amount("refer", "handing the job over", "money", costs.refer, PRICE_RANGE, _with_cost("refer"))
    if Problem(case.appliance, case.belief, case.situation).verified:
        yield from _amount("callback", "a callback", "money", costs.callback, PRICE_RANGE, _with_cost("callback"))


def _amount(
    name: str, title: str, kind: Kind, now: float, by: float, case: Callable[[Case, float], Case]
) -> Iterator[Input]:
    """An amount moved by a factor either way; nothing to move where it is 0."""
    if now > 0:
        yield Input(name, title, kind, now, now / by, now * by, case)


def _with_rate(case: Case, value: float) -> Case:
    return dataclasses.replace(case, situation=structs.replace(case.situation, labour_rate=value))


def _with_cost(name: str) -> Callable[[Case, float], Case]:
    def changed(case: Case, value: float) -> Case:
        k = case.appliance.knowledge
        return _with_knowledge(case, dataclasses.replace(k, costs=_with_field(k.costs, name, value)))

    return changed


def _with_field(record: Record, name: str, value: float) -> Record:
    change: dict[str, Any] = {name: value}
    return dataclasses.replace(record, **change)


def _with_knowledge(case: Case, knowledge: Knowledge) -> Case:
    return dataclasses.replace(case, appliance=dataclasses.replace(case.appliance, knowledge=knowledge))


def _work_inputs(case: Case, moves: Sequence[NextMove]) -> Iterator[Input]:
    """Minutes of the checks, minutes and parts of the repairs, among `moves` and for the leading fault."""
    k = case.appliance.knowledge
    checks = [m.name for m in moves if m.kind == "check"]
    repairs = [n for m in moves if m.kind == "repair" for n in (m.name, *m.together)]
    leading = Problem(case.appliance, case.belief, case.situation).mode_repair.get(case.belief.fault_odds()[0].name)
    repairs += [leading] if leading else []
    for name in dict.fromkeys(checks):
        title = f"minutes: {k.check[name].title}"
        yield from _amount(
            f"{name}.minutes", title, "minutes", k.check[name].minutes, MINUTES_RANGE, _with_check(name, "minutes")
        )
    for name in dict.fromkeys(repairs):
        r = k.repair[name]
        yield from _amount(
            f"{name}.minutes",
            f"minutes: {r.title}",
            "minutes",
            r.minutes,
            MINUTES_RANGE,
            _with_repair(name, "minutes"),
        )
        yield from _amount(f"{name}.cost", f"part: {r.title}", "money", r.cost, PRICE_RANGE, _with_repair(name, "cost"))


def _with_check(name: str, part: str) -> Callable[[Case, float], Case]:
    def changed(case: Case, value: float) -> Case:
        k = case.appliance.knowledge
        check = {**k.check, name: _with_field(k.check[name], part, value)}
        return _with_knowledge(case, dataclasses.replace(k, check=check))

    return changed


def _with_repair(name: str, part: str) -> Callable[[Case, float], Case]:
    def changed(case: Case, value: float) -> Case:
        k = case.appliance.knowledge
        repair = {**k.repair, name: _with_field(k.repair[name], part, value)}
        return _with_knowledge(case, dataclasses.replace(k, repair=repair))

    return changed


# ---- how far a check can be trusted ----


def _trust_inputs(moves: Sequence[NextMove], case: Case) -> Iterator[Input]:
    """The advised check telling less, the other one making fewer mistakes."""
    k = case.appliance.knowledge
    for place, move in enumerate(moves):
        if move.kind != "check" or move.name == k.costs.verify:
            continue
        title = k.check[move.name].title
        if place == 0:
            yield Input(f"{move.name}.blind", f"tells nothing: {title}", "blind", 0.0, 0.0, 1.0, _with_blind(move.name))
        else:
            yield Input(
                f"{move.name}.mistakes", f"mistakes left: {title}", "mistakes", 1.0, 0.0, 1.0, _with_mistakes(move.name)
            )


def _with_blind(name: str) -> Callable[[Case, float], Case]:
    """In a share of looks the check shows what it shows on average now, whatever is wrong."""

    def changed(case: Case, share: float) -> Case:
        rows = case.belief.suspects.likelihood[case.belief.suspects.rows[name]]
        average = rows @ case.belief.now
        return _with_rows(case, name, (1.0 - share) * rows + share * average[:, None])

    return changed


def _with_mistakes(name: str) -> Callable[[Case, float], Case]:
    """Every suspect shows its likeliest outcome, but for a share of the mistakes the file gives the check."""

    def changed(case: Case, share: float) -> Case:
        rows = case.belief.suspects.likelihood[case.belief.suspects.rows[name]]
        sure = np.eye(len(rows))[rows.argmax(axis=0)].T
        return _with_rows(case, name, share * rows + (1.0 - share) * sure)

    return changed


def _with_rows(case: Case, name: str, rows: Floats) -> Case:
    suspects = case.belief.suspects
    likelihood = suspects.likelihood.copy()
    likelihood[suspects.rows[name]] = rows
    belief = structs.replace(case.belief, suspects=structs.replace(suspects, likelihood=likelihood))
    return dataclasses.replace(case, belief=belief)
