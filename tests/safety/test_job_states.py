"""The rules of safety on everything that can be printed for a job, from random job states in their thousands.

Jobs are walked through the program's own entries (`job_states`). For each state every check and repair that the screens may
show then, and every one that `how` tells, goes through the function that makes the printed steps; so do the same as a plan's
steps, several repairs together, and closing up. The texts are read back and the rules are asked. What the screens offer at all
is held against plain readings of the job. The same steps from the same machine are asked about once.

`FAULTODDS_SAFETY_STATES=25000 FAULTODDS_SAFETY_SEED=1 pytest tests/safety -k random -n 0`, and so on to 8, is the deep run.
"""

from __future__ import annotations

import dataclasses
import os
import sys
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping

import numpy as np
import pytest

from faultodds.advice import doing, problem as problem_module, situation
from faultodds.advice.doing import closing_lines, instructions
from faultodds.advice.machine import MachineStates, State
from faultodds.advice.problem import Problem
from faultodds.advice.situation import gone_unmended, may_be, run_forbidden
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.belief.posterior import Belief
from faultodds.belief.suspects import compile_suspects
from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job import open_job as open_job_module
from faultodds.job.open_job import OpenJob
from faultodds.job.standing import believe
from faultodds.knowledge.schema import Knowledge, repair_modes
from faultodds.safety import duties
from faultodds.safety.duties import Known, not_run_now
from faultodds.safety.rules import RULES, broken
from faultodds.safety.sequence import Line
from job_states import walks
from read_back import read_back

STATES = int(os.environ.get("FAULTODDS_SAFETY_STATES", "10000"))
SEED = 21 + int(os.environ.get("FAULTODDS_SAFETY_SEED", "0"))
# A planted mistake is seen among so many states.
PLANTED = 3000
not_run_now_as_it_is = not_run_now
ALL_OPEN = frozenset({"unplugged", "gas_shut", "pulled_out", "duct_off", "front_open", "rear_open"})
Spoil = Callable[[list[Line]], list[Line]]


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped gas dryer with the rarest sets of faults left out: the odds are rougher, and quick."""
    full = open_appliance("gas_dryer", revision="file")
    return dataclasses.replace(full, suspects=compile_suspects(full.knowledge, 0.1))


@dataclasses.dataclass(frozen=True)
class Now:
    """A job as it stands, and what of all that is known the instructions and the rules go by: whether the machine must not run,
    and whether it is left shut off, for that or for a danger that is gone and not put right."""

    visit: OpenJob
    belief: Belief
    known: Known
    state: State
    qualified: bool
    key: frozenset[tuple[str, str, bool]]
    barred: bool
    left_dead: bool


@dataclasses.dataclass(frozen=True)
class Told:
    """Instructions that may be printed: for which work, and as what."""

    names: tuple[str, ...]
    way: str = "screen"


class Proof:
    """Looks at job states, and counts what it saw; `spoil` plants a mistake in what is told."""

    def __init__(self, appliance: Appliance, spoil: Spoil = list, seed: int = 7) -> None:
        self.appliance, self.k, self.spoil = appliance, appliance.knowledge, spoil
        # What of all that is known the instructions and the rules go by.
        seen = self.k.observables.items()
        self.telling = {n for n, o in seen if o.lets_out or o.stops or o.stops_away} | set(self.k.causes_owed)
        self.telling |= {n for item in self.k.access.values() for n in item.not_while}
        self.machine, self.rng = MachineStates(self.k), np.random.default_rng(seed)
        self._kinds: dict[frozenset[tuple[str, str]], tuple[Knowledge, MachineStates]] = {}
        self.seen: Counter[str] = Counter()
        self._asked: dict[object, list[str]] = {}
        self._forbidding: tuple[Now | None, dict[tuple[str, ...], bool]] = None, {}

    def first_wrong(self, count: int, seed: int = SEED) -> str:
        """What is wrong in the first of `count` states in which something is; empty when nothing is."""
        for visit, _ in zip(walks(self.appliance, seed), range(count), strict=False):
            wrong = next(self.wrong(visit), "")
            if wrong:
                return wrong
        return ""

    def wrong(self, visit: OpenJob) -> Iterator[str]:
        """Everything that is wrong in a state."""
        self.seen["states"] += 1
        self._fit(visit.job.facts)
        if visit.job.stopped is not None:
            yield from self._stopped(visit)
        elif not visit.job.is_closed:
            belief, where = believe(self.appliance, visit.job), visit.situation
            known = {n: v for n, v in may_be(self.k, belief.evidence, belief).items() if n in self.telling}
            barred = bool(duties.barred(self.k, known))
            dead = barred or bool(gone_unmended(self.k, belief.evidence))
            self.seen["gone"] += dead and not barred
            now = Now(visit, belief, known, where.state, where.qualified, self._key(known), barred, dead)
            yield from self._offered(now)
            yield from self._how(now)
            yield from self._closing(now)

    def _fit(self, facts: Mapping[str, str]) -> None:
        """Go by the machine as it is made, by what is told of it."""
        kind = frozenset((f, v) for f, v in facts.items() if f in self.k.equipment)
        if kind not in self._kinds:
            k = self.appliance.fitted(facts).knowledge
            self._kinds[kind] = (k, MachineStates(k))
        self.k, self.machine = self._kinds[kind]

    def _stopped(self, visit: OpenJob) -> Iterator[str]:
        """With danger told of there is no advice, no work and no plugging in."""
        self.seen["stopped"] += 1
        for ask in (lambda: visit.now, lambda: visit.how("lint_screen_look")):
            try:
                ask()
                yield "advice while it is stopped"
            except SafetyStop:
                pass
        if visit.closing_up():
            yield "it is told to be closed up while it is stopped"

    def _offered(self, now: Now) -> Iterator[str]:
        """What the screens may show: checks, repairs alone and together, each as a step of a plan too."""
        p = Problem(self.appliance, now.belief, now.visit.situation)
        some = [*p.repairs]
        alone = [(n,) for n in some]
        together = [tuple(self.rng.choice(some, size=n, replace=False).tolist()) for n in (2, 3) if n <= len(some)]
        offered = [(n,) for n in p.checks] + [names for names in alone + together if not self._forbidden(now, names)]
        yield from self._barred(now, {n for names in offered for n in names})
        yield from self._proved_too_soon(now, [names for names in offered if names[0] in self.k.repair])
        for names in offered:
            yield from self._asking(now, Told(names))
            if names[0] in self.k.repair and not all(self.k.repair[n].by_others for n in names):
                yield from self._asking(now, Told(names, "plan"))

    def _forbidden(self, now: Now, names: tuple[str, ...]) -> bool:
        """Whether the run that proves some repairs is forbidden; asked once of each in a state."""
        if self._forbidding[0] is not now:
            self._forbidding = now, {}
        known = self._forbidding[1]
        if names not in known:
            known[names] = bool(run_forbidden(self.k, now.belief.evidence, now.belief, now.known, names))
        return known[names]

    def _barred(self, now: Now, names: Iterable[str]) -> Iterator[str]:
        """Whether work is offered that a plain reading of the job forbids."""
        job, k = now.visit.job, self.k
        facts, skipped, here = job.facts, job.skipped, (job.stage, job.visit)
        sure = {p.finding.name: p.finding.outcome for p in job.findings if (p.stage, p.visit) == here}
        stopped = any(sure.get(n) in each.stops_run for n, each in k.observables.items())
        for name in names:
            work = k.check.get(name) or k.repair[name]
            if name in skipped:
                yield f"skipped: {name}"
            if work.qualified and not now.qualified:
                yield f"qualified: {name}"
            if any(facts.get(f, v) != v for f, v in work.needs.items()):
                yield f"impossible: {name}"
            if (stopped or sure.get("transition_look") == "off") and (work.running or work.run_first):
                yield f"stopped: {name}"

    def _proved_too_soon(self, now: Now, offered: Iterable[tuple[str, ...]]) -> Iterator[str]:
        """Repairs that end with a run while something seen just now stops the run, and none of them is of a cause of it."""
        job, s = now.visit.job, self.appliance.suspects
        for p in job.findings if not now.visit.clash() else ():
            stops = self.k.observables[p.finding.name].stops_run
            if p.finding.outcome not in stops or (p.stage, p.visit) != (job.stage, job.visit):
                continue
            if any(q.finding.name == p.finding.name and q.finding.take > p.finding.take for q in job.findings):
                continue
            row = s.likelihood[s.rows[p.finding.name]][s.observables[p.finding.name].index(p.finding.outcome)]
            causes = {s.names(h)[0] for h in np.flatnonzero(s.member.sum(axis=1) == 1) if row[h] > 2 * row[s.sound]}
            for names in offered:
                here = [n for n in names if not self.k.repair[n].by_others]
                if here and not causes & {m for n in names for m in repair_modes(self.k, self.k.repair[n])}:
                    yield f"proved: {names} with {p.finding.name}={p.finding.outcome}"

    def _how(self, now: Now) -> Iterator[str]:
        """What `how` tells of every piece of work, or refuses."""
        held = not_run_now(self.k, now.known)
        told = [n for n in (*self.k.check, *self.k.repair) if n not in held]
        told = [n for n in told if n in self.k.check or not self._forbidden(now, (n,))]
        for name in told:
            yield from self._asking(now, Told((name,)))
        name = str(self.rng.choice([*self.k.check, *self.k.repair]))
        try:
            lines = list(now.visit.how(name).lines)
        except FaultoddsError:
            self.seen["refused"] += 1
            return
        if name not in told:
            yield f"how: {name} is told, and is not for now"
        if lines != self.lines(now, Told((name,))):
            yield f"how: {name} is not told as on the screens"

    def _closing(self, now: Now) -> Iterator[str]:
        yield from self._asking(now, Told((), "closing"))
        if now.visit.closing_up() != [line.text for line in self.lines(now, Told((), "closing"))]:
            yield "closing: not told as it is"

        put_back = now.visit.put_back(str(self.rng.choice([*self.k.repair])), now.state)
        if now.barred and put_back:
            yield f"closing: told to be put back and on: {put_back}"

    def lines(self, now: Now, told: Told) -> list[Line]:
        """The instructions as they are made."""
        if told.way == "closing":
            return closing_lines(self.k, now.state, now.left_dead)
        proved = told.way != "plan"
        made = instructions(self.k, self.machine, self._names(told), now.state, now.known, proved)
        return [line for each in made for line in each.lines]

    def _names(self, told: Told) -> tuple[str, ...]:
        """The work of some instructions; a plan's repair ends with the run."""
        return (*told.names, self.k.costs.verify) if told.way == "plan" else told.names

    def _key(self, known: Known) -> frozenset[tuple[str, str, bool]]:
        return frozenset((n, o, s > duties.LIKELY) for n, shares in known.items() for o, s in shares.items())

    def _asking(self, now: Now, told: Told) -> list[str]:
        """What the rules say of some instructions; those that were asked about before are not again."""
        key = (told, now.state, now.key, now.left_dead, id(self.k))
        if key not in self._asked:
            self._asked[key] = self._answer(now, told)
            self.seen[told.way] += 1
        return self._asked[key]

    def _answer(self, now: Now, told: Told) -> list[str]:
        texts = [line.text for line in self.spoil(self.lines(now, told))]
        found = []
        if told.way == "closing" and now.left_dead:
            shut = {self.k.access[n].close_step for n, a in self.k.access.items() if a.makes_safe}
            found += [f"closing: switched on from {sorted(now.state)}"] if shut & set(texts) else []
        wrong = broken(self.k, now.state, read_back(self.k, self._names(told), texts), now.known)
        return found + [f"{b.rule}: {b.why}, {told.names} from {sorted(now.state)}: {texts}" for b in wrong]


def test_nothing_told_breaks_a_rule_over_random_job_states(dryer: Appliance) -> None:
    """Whatever was entered before, nothing that could be printed breaks a rule, and nothing is offered that the job forbids; the
    walks come by danger, runs that are refused, several repairs together, and a machine that is left shut off."""
    proof = Proof(dryer)
    assert proof.first_wrong(STATES) == ""
    assert proof.seen["states"] == STATES
    assert min(proof.seen[what] for what in ("stopped", "refused", "screen", "plan", "closing")) > 10, proof.seen
    assert proof.seen["gone"] > 2


def left_out(part: str, opens: bool | None = None, item: str = "") -> Spoil:
    """A mistake: lines of a part, or moves of an item, are not told."""

    def spoil(lines: list[Line]) -> list[Line]:
        return [
            line
            for line in lines
            if not (line.part == part and (line.move is None or (line.move.item, line.move.opens) == (item, opens)))
        ]

    return spoil


def said_twice(lines: list[Line]) -> list[Line]:
    """A mistake: a move is told twice."""
    return [again for line in lines for again in ([line, line] if line.move else [line])]


def first_of_all(part: str) -> Spoil:
    """A mistake: what is proved or worked on is told before the moves that lead there."""
    return lambda lines: sorted(lines, key=lambda line: line.part != part)


def plug_before_all(lines: list[Line]) -> list[Line]:
    """A mistake: of several closings in a row the last is told first."""
    out = list(lines)
    for i in range(len(out) - 1):
        a, b = out[i].move, out[i + 1].move
        if a and b and not a.opens and not b.opens and b.item == "unplugged":
            out[i], out[i + 1] = out[i + 1], out[i]
    return out


@pytest.mark.parametrize(
    ("rule", "spoil"),
    [
        ("shut_off_first", left_out("move", True, "unplugged")),
        ("moved_once", said_twice),
        ("hands_in_dead", left_out("move", True, "front_open")),
        ("on_inside_for_the_qualified", left_out("clear")),
        ("leads_on_and_off_dead", left_out("unfit")),
        ("never_left_live", lambda lines: lines[:-3] if any(x.part == "unfit" for x in lines) else lines),
        ("runs_closed_up", first_of_all("prove")),
        ("tested_with_power_off", left_out("move", False, "gas_shut")),
        ("watched_when_it_lets_out", left_out("watch")),
        ("never_lit_into_the_room", left_out("move", True, "gas_shut")),
        ("watched_when_it_may_let_out", left_out("watch")),
        ("put_back_in_order", plug_before_all),
    ],
)
def test_a_mistake_in_what_is_told_is_seen_among_job_states(dryer: Appliance, rule: str, spoil: Spoil) -> None:
    """Each rule speaks up when the step that it is about is left out, said twice or out of its place."""
    assert rule in rules_broken(Proof(dryer, spoil), PLANTED, rule)


def rules_broken(proof: Proof, count: int, wanted: str) -> set[str]:
    """The first words of all that is wrong, until the wanted one is among them."""
    found: set[str] = set()
    for visit, _ in zip(walks(proof.appliance, 21), range(count), strict=False):
        found |= {wrong.partition(":")[0] for wrong in proof.wrong(visit)}
        if wanted in found:
            break
    return found


Plant = Callable[[pytest.MonkeyPatch], None]


def _all_may_run(m: pytest.MonkeyPatch) -> None:
    for module in (problem_module, open_job_module):
        m.setattr(module, "not_run_now", lambda k, known, lacking=(): {})


def _with_the_duct_off(m: pytest.MonkeyPatch) -> None:
    m.setattr(duties, "_why_not", lambda k, work, known: "")


def _any_repair_may_be_proved(m: pytest.MonkeyPatch) -> None:
    m.setattr(sys.modules[__name__], "run_forbidden", lambda k, evidence, belief, known, repairs: "")


def _lit_without_air(m: pytest.MonkeyPatch) -> None:
    m.setattr(sys.modules[__name__], "not_run_now", _only_the_exhaust)
    m.setattr(problem_module, "not_run_now", _only_the_exhaust)


def _only_the_exhaust(k: Knowledge, known: Known, lacking: Collection[str] = ()) -> dict[str, str]:
    """A mistake: what stops the heat is not asked about."""
    stops = {n for n, each in k.observables.items() if each.stops_heat} | set(k.causes_owed)
    return not_run_now_as_it_is(k, {n: v for n, v in known.items() if n not in stops})


def _looks_forgotten(m: pytest.MonkeyPatch) -> None:
    m.setattr(situation, "DOUBT", 2.0)


def _skips_forgotten(m: pytest.MonkeyPatch) -> None:
    m.setattr(OpenJob, "situation", property(lambda v: situation.Situation(qualified=v.job.qualified)))


def _anybody(m: pytest.MonkeyPatch) -> None:
    m.setattr(Problem, "_allowed", lambda p, needs, qualified, untold=False: True)


def _switched_on_all_the_same(m: pytest.MonkeyPatch) -> None:
    usual = closing_lines
    m.setattr(sys.modules[__name__], "closing_lines", lambda k, state, dead=False: usual(k, state))


def _goes_on_in_danger(m: pytest.MonkeyPatch) -> None:
    m.setattr(OpenJob, "how", lambda v, name: doing.action(v.appliance, name, v.state))


def _closed_but_not_told(m: pytest.MonkeyPatch) -> None:
    m.setattr(open_job_module, "closing_lines", lambda k, state, dead=False: [])


def _put_back_all_the_same(m: pytest.MonkeyPatch) -> None:
    m.setattr(OpenJob, "put_back", lambda v, name, state: [line.text for line in closing_lines(v.knowledge, ALL_OPEN)])


def _not_watched(m: pytest.MonkeyPatch) -> None:
    m.setattr(doing, "watch_text", lambda k, known, minutes: "")


def _cock_opened_for_every_run(m: pytest.MonkeyPatch) -> None:
    m.setattr(MachineStates, "_unopened", lambda machine, state, need: frozenset())


@pytest.mark.parametrize(
    ("wanted", "plant"),
    [
        ("stopped", _all_may_run),
        ("not_run_like_that", _with_the_duct_off),
        ("not_run_when_stopped", _any_repair_may_be_proved),
        ("not_lit_without_air", _lit_without_air),
        ("proved", _any_repair_may_be_proved),
        ("stopped", _looks_forgotten),
        ("skipped", _skips_forgotten),
        ("qualified", _anybody),
        ("impossible", _anybody),
        ("closing", _switched_on_all_the_same),
        ("advice while it is stopped", _goes_on_in_danger),
        ("closing", _closed_but_not_told),
        ("closing", _put_back_all_the_same),
        ("watched_when_it_may_let_out", _not_watched),
        ("not_opened_for_nothing", _cock_opened_for_every_run),
    ],
)
def test_a_mistake_in_what_is_offered_is_seen_among_job_states(
    dryer: Appliance, monkeypatch: pytest.MonkeyPatch, wanted: str, plant: Plant
) -> None:
    """So does the proof when a filter of the screens is not there: runs barred, skips, hands, parts, danger, closing up."""
    plant(monkeypatch)
    assert wanted in rules_broken(Proof(dryer), PLANTED, wanted)


def test_every_rule_is_planted_among_job_states() -> None:
    """No rule is there that the walks never put to the test."""
    marks = [
        test_a_mistake_in_what_is_told_is_seen_among_job_states.pytestmark[0],
        test_a_mistake_in_what_is_offered_is_seen_among_job_states.pytestmark[0],
    ]
    assert set(RULES) <= {case[0] for mark in marks for case in mark.args[1]}
