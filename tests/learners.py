"""Simulated learners of the drill. They type lines, as a person would, and play through the same door."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from faultodds.advice import best_move
from faultodds.belief import Appliance
from faultodds.calibration import NAMED, Drilled, began, bounded, faults
from faultodds_cli.drill.debrief import program_too_sure
from faultodds_cli.drill.game import DO, ODDS, SHUT, Drill
from faultodds_cli.drill.levels import LEVELS, MOST_CALLS, OPEN_BITS, WHO, is_of
from faultodds_cli.trial.visit import TrialJob
from faultodds_sim.call import SimCall, calls

Odds = Callable[[Drill], dict[str, float]]


class Refused(AssertionError):
    """Something that was typed was not taken."""


class Learner:
    """Somebody who types: `odds` says what he believes, `does` what he does next. `beside`: others who look over his shoulder and
    say their own odds of the same; what they said is in `theirs`."""

    def __init__(self, visit: TrialJob, odds: Odds, beside: Mapping[str, Odds] | None = None) -> None:
        self.drill, self.odds, self.typed = Drill(visit, self.ask, self.hear), odds, list[str]()
        self.beside = beside or {}
        self.theirs: dict[str, list[dict[str, float]]] = {who: [] for who in self.beside}
        self.line = ""

    def hear(self, text: str) -> None:
        """Whatever is typed is taken."""
        if text.startswith("?"):
            raise Refused(text)

    def ask(self, question: str) -> str:
        """The answer to a question of the drill."""
        if SHUT in question:
            return "unplugged, gas off"
        if question.startswith(ODDS):
            for who, odds in self.beside.items():
                self.theirs[who].append(bounded(_top(odds(self.drill))))
            return " ".join(f"{name} {100 * p:.4f}%" for name, p in _top(self.odds(self.drill)).items())
        assert question == DO
        assert self.line, f"{self.typed[-1]} was not taken"
        line, self.line = self.line, ""
        self.typed.append(line)
        return line

    def does(self, line: str) -> None:
        """Type a line when it is asked what to do."""
        self.line = line
        self.drill.turn()


def _top(odds: Mapping[str, float]) -> dict[str, float]:
    return dict(sorted(odds.items(), key=lambda o: -o[1])[:NAMED])


def tools_odds(drill: Drill) -> dict[str, float]:
    """What the program believes."""
    return began(drill.visit.belief, drill.k)


def too_sure(drill: Drill) -> dict[str, float]:
    """The right faults in the right order, said far too surely."""
    odds = {name: p**5 for name, p in tools_odds(drill).items()}
    return {name: p / sum(odds.values()) for name, p in odds.items()}


def as_at_first(drill: Drill) -> dict[str, float]:
    """What is commonest of all calls, whatever is found."""
    s = drill.visit.belief.suspects
    odds = dict.fromkeys(faults(drill.k), 0.0)
    for name, share in zip(s.mains, s.share.tolist(), strict=True):
        odds[name.partition(".")[0]] += share
    return odds


def by_advice(learner: Learner) -> None:
    """Do what the program advises, from the first minute to the last."""
    visit = learner.drill.visit
    while not learner.drill.over:
        move = best_move(visit.appliance, visit.belief, visit.situation, visit.machine)
        word = {"stop": "done", "refer": "refer"}.get(move.kind, move.kind)
        learner.does(f"{word} {' '.join(filter(None, (move.name, *move.together)))}".strip())


class ThroughTheDoor:
    """A `TrialJob` whose work goes through the lines of a drill, for the policies of the trials; what the drill does not let do
    ends in handing over."""

    def __init__(self, learner: Learner) -> None:
        self._learner = learner

    def __getattr__(self, name: str) -> Any:
        return getattr(self._learner.drill.visit, name)

    @property
    def over(self) -> bool:
        """Whether the drill has ended."""
        return self._learner.drill.over

    def _does(self, line: str) -> bool:
        if self.over:
            return False
        try:
            self._learner.does(line)
        except Refused:
            self._learner.does("refer")
            return False
        return not self.over

    def check(self, name: str) -> str:
        """As `TrialJob`."""
        return str(self.last(name)) if self._does(f"check {name}") else ""

    def verify(self) -> bool:
        """As `TrialJob`."""
        return self.check("verification_run") == "dry_in_time"

    def repair(self, names: Sequence[str]) -> bool:
        """As `TrialJob`."""
        return self._does(f"repair {' '.join(names)}") and self.verify()

    def close(self) -> None:
        """As `TrialJob`."""
        self._does("done")

    def hand_over(self) -> None:
        """As `TrialJob`."""
        self._does("refer")


def by_policy(policy: Callable[[Any], None]) -> Callable[[Learner], None]:
    """Do what a policy of the trials does."""
    return lambda learner: policy(ThroughTheDoor(learner))


def guesses(seed: int) -> tuple[Odds, Callable[[Learner], None]]:
    """Any three faults at any chances; looks at three things in any order, then hands over."""
    rng = np.random.default_rng(seed)

    def odds(drill: Drill) -> dict[str, float]:
        named = rng.choice(faults(drill.k), 3, replace=False)
        return {str(n): float(p) for n, p in zip(named, rng.dirichlet([1.0] * 4), strict=False)}

    def moves(learner: Learner) -> None:
        looks = [
            n
            for n, c in learner.drill.k.check.items()
            if not c.running and not c.access and not c.needs and not c.qualified
        ]
        for name in rng.choice(looks, 3, replace=False):
            learner.does(f"check {name}")
        learner.does("refer")

    return odds, moves


def series(appliance: Appliance, each: int, seed: int) -> Iterator[tuple[int, SimCall]]:
    """So many calls of every level out of one series, which are quick to simulate together, each with its level."""
    left = dict.fromkeys(LEVELS, each)
    for call in calls(MOST_CALLS, seed):
        at_the_door = TrialJob(appliance, call, WHO, False)
        level = next((n for n, more in sorted(left.items(), reverse=True) if more and is_of(at_the_door, n, more)), 0)
        if level:
            left[level] -= 1
            yield level, call
        if not any(left.values()):
            return
    raise AssertionError(f"the series has too few: {left}")


def drilled(
    appliance: Appliance, call: SimCall, odds: Odds, moves: Callable[[Learner], None], **beside: Odds
) -> Learner:
    """One drill, played to its end."""
    learner = Learner(TrialJob(appliance, call, WHO, False), odds, beside)
    moves(learner)
    assert learner.drill.over
    return learner


def kept(learner: Learner, level: int, who: str = "") -> Drilled:
    """What a drill came to for the learner, or for one who said his own odds beside him; the best plan, which is dear, is left
    out."""
    visit = learner.drill.visit
    return Drilled(
        drill=str(level),
        truth=visit.call.main_cause.partition(".")[0],
        forecasts=learner.theirs[who] if who else learner.drill.forecasts,
        cost=visit.cost,
        wrong_parts=visit.wrong_parts,
        slip=learner.drill.slip,
        chosen=level not in OPEN_BITS,
        program=program_too_sure(learner.drill),
    )
