"""A service call as the program sees it: what people type becomes steps of a job, and a job becomes evidence.

Everything the command line takes in goes through here: facts, findings (a name and an outcome, a split such as
"open 70 / closed 30", or a raw reading), repairs, what cannot be done now, the machine's state. Signs that stop everything are
asked about first and never weighed.
"""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from msgspec import Struct

from faultodds.advice import Situation
from faultodds.belief import Appliance, Evidence, TimePassed, WeighedFinding, repair_effect
from faultodds.errors import BadReading, FaultoddsError, SafetyStop, UnknownName
from faultodds.job.job import Job, Return
from faultodds.job.steps import AWAITED, Fact, Finding, MachineState, Payload, RepairDone, Skip
from faultodds.job.typed import named
from faultodds.knowledge import ContextFact, EquipmentFact, Knowledge, Repair, absent_ways, repair_modes
from faultodds.names import fold, match
from faultodds.safety import danger_in, denies, refuse_unsafe_state, stop_text

if TYPE_CHECKING:
    from faultodds.readings import Judgement

DAYS_A_YEAR = 365.25
_YES = {"yes", "y", "true", "1", "on", "there", "present"}
_NO = {"no", "n", "false", "0", "off", "none"}
_SPLIT = re.compile(r"^\s*(?P<name>.+?)\s*[:= ]\s*(?P<share>\d+(?:[.,]\d+)?)\s*%?\s*$")


class JudgedFinding(Struct, frozen=True):
    """A finding taken in, with the judgement of its reading when it was one."""

    finding: Finding
    judgement: Judgement | None = None


def pair(text: str, option: str) -> tuple[str, str]:
    """Split "NAME=VALUE"; raises FaultoddsError naming the option when there is no "="."""
    name, sign, value = text.partition("=")
    if not sign or not name.strip() or not value.strip():
        raise FaultoddsError(
            f"{option} '{text}': write NAME=VALUE, for example {option} {_EXAMPLES.get(option, 'name=value')}."
        )
    return name.strip(), value.strip()


_EXAMPLES = {
    "--fact": "control=board",
    "--found": "dry_time=longer",
    "--reading": 'coil_ohms="1.15k"',
}


def take_fact(knowledge: Knowledge, name: str, value: str) -> Fact:
    """A context or equipment fact from what was typed."""
    facts: dict[str, ContextFact | EquipmentFact] = {**knowledge.context, **knowledge.equipment}
    if "?" in value:
        raise FaultoddsError(
            f"{name}={value}: is it so? Then type it without the question mark. If nobody knows: skip {name}."
        )
    fact = match("fact", name, facts, {n: f.ask for n, f in facts.items()})
    return Fact(fact, match(f"value of '{fact}'", value, facts[fact].values, facts[fact].values))


def stop_if_danger(knowledge: Knowledge, name: str, value: str = "yes") -> bool:
    """Whether `name` is one of the stop signs; raises SafetyStop when it is and `value` does not say no.

    Anything but a plain no counts as yes: a doubtful answer about gas is not an all-clear.
    """
    sign = fold(name)
    if sign not in knowledge.stop:
        return False
    if not denies(value):
        raise SafetyStop(safety_text(knowledge, sign, value))
    return True


def told_by_reading(knowledge: Knowledge, name: str, value: str) -> str:
    """How a reading is told that is a danger by its size alone (`ReadingSpec.danger`), or by the outcome that stands for that size;
    empty when it is none. A number without a unit is taken for one of it, but one far too small only where it stands alone."""
    from faultodds.readings import unit_named

    spec = knowledge.reading.get(fold(name))
    if spec is None or not spec.danger:
        return ""
    over, under = (math.inf if spec.danger_over is None else spec.danger_over), spec.danger_under or -math.inf
    told = _AMOUNT.findall(value)
    for number, unit in told:
        of_it = unit_named(unit, spec.kind) == spec.unit if unit else True
        counts = unit or len(told) == 1 or float(number) > under / 4  # "119, 2 readings"
        if of_it and counts and not under <= float(number) < over:
            return spec.danger.format(number)
    spans = spec.bands.get(fold(value), [])
    return spec.danger.format(fold(value)) if spans and all(_amount(high) <= under for _, high in spans) else ""


def _amount(edge: float | str | None) -> float:
    return edge if isinstance(edge, float | int) else math.inf


_AMOUNT = re.compile(r"(?<![\d.])(\d+(?:\.\d+)?)(?!\d) ?([A-Za-z]*)")


def safety_text(knowledge: Knowledge, sign: str, told: str = "") -> str:
    """What is shown when a stop sign is there: the sign, what was told of it in more than a word, then its steps."""
    stop = knowledge.stop[sign]
    words = " ".join(told.split())
    return stop_text(f'{stop.title}: "{words}"' if " " in words else stop.title, stop.steps)


# From this share on a doubtful finding may be the sign.
SHOWN = 0.1


def stop_if_shown(knowledge: Knowledge, finding: Finding) -> None:
    """Raise SafetyStop when a finding is one of the stop signs, in doubt as well."""
    likely = {finding.outcome} if finding.outcome else {o for o, w in (finding.likelihood or {}).items() if w >= SHOWN}
    for sign, stop in knowledge.stop.items():
        if likely & set(stop.shown_by.get(finding.name, ())):
            raise SafetyStop(safety_text(knowledge, sign))


def take_finding(
    knowledge: Knowledge,
    name: str,
    value: str,
    facts: Mapping[str, str] | None = None,
    ambient: str | None = None,
    take: int = 0,
    reading: bool = False,
) -> JudgedFinding:
    """A symptom or check with what it showed, from what was typed.

    `value` is an outcome (by name, words or unique beginning), a split over outcomes, or a raw reading; `reading` says that
    it can only be a reading. Raises UnknownName or BadReading with what to type instead.
    """
    observables = knowledge.observables
    listed = f"Type 'faultodds appliance show {knowledge.appliance.id}' for all of them."
    found = named(knowledge, name, value, listed)
    outcomes = observables[found].outcomes
    if "?" in value:
        one, other = [*outcomes, ""][:2]
        raise BadReading(
            f"{found}={value}: is it so, or are you unsure? If it is so, type it without the question mark. Unsure, with how "
            f"likely each is: {found} {one} 70 / {other} 30."
        )
    if not reading:
        split = _split(found, value, outcomes)
        if split is not None:
            return JudgedFinding(Finding(found, likelihood=split, raw=value, take=take))
        if fold(value) in {fold(o) for o in outcomes} | {fold(w) for w in outcomes.values()}:
            return JudgedFinding(Finding(found, outcome=match("outcome", value, outcomes, outcomes), take=take))
    if found in knowledge.reading and (reading or any(c.isdigit() for c in value) or _is_meter_word(value)):
        return _judged(knowledge, found, value, facts, ambient, take)
    if reading:
        raise BadReading(
            f"'{found}' is not read with a meter; say what it showed: {found}=" + " or ".join(outcomes) + "."
        )
    try:
        return JudgedFinding(Finding(found, outcome=_outcome(found, value, outcomes), take=take))
    except FaultoddsError:
        if found in knowledge.reading:
            return _judged(knowledge, found, value, facts, ambient, take)
        raise


def _outcome(found: str, value: str, outcomes: Mapping[str, str]) -> str:
    if set(outcomes) == {"no", "yes"} and fold(value) in _YES | _NO:
        return "yes" if fold(value) in _YES else "no"
    return match(f"outcome of '{found}'", value, outcomes, outcomes)


def _is_meter_word(value: str) -> bool:
    return fold(value) in {"ol", "o_l", "0l", "0_l", "infinite", "inf"} or "beep" in fold(value)


def _judged(
    knowledge: Knowledge, name: str, text: str, facts: Mapping[str, str] | None, ambient: str | None, take: int
) -> JudgedFinding:
    from faultodds.readings import judge

    outcomes = list(knowledge.check[name].outcomes)
    judgement = judge(knowledge.reading[name], outcomes, text, ambient=ambient, facts=facts)
    return JudgedFinding(Finding(name, likelihood=dict(judgement.outcomes), raw=text, take=take), judgement)


def _split(name: str, value: str, outcomes: Mapping[str, str]) -> dict[str, float] | None:
    """ "open 70 / closed 30" as weights; None when the text is not a split."""
    parts = [p for p in re.split(r"\s*/\s*|\s*;\s*|\s*,\s+", value.strip()) if p]
    matches = [_SPLIT.match(p) for p in parts]
    if len(parts) < 2 or not all(matches):
        return None
    weights: dict[str, float] = {}
    for m in matches:
        if m is None or not re.search(r"[A-Za-z]", m["name"]):
            return None
        outcome = match(f"outcome of '{name}'", m["name"], outcomes, outcomes)
        weights[outcome] = float(m["share"].replace(",", "."))
    total = sum(weights.values())
    if not total > 0:
        raise FaultoddsError(
            f"{name}: the shares in '{value}' add up to nothing; write for example 'open 70 / closed 30'."
        )
    return {o: w / total for o, w in weights.items()}


def take_repair(knowledge: Knowledge, name: str) -> RepairDone:
    """A repair done, from what was typed."""
    return RepairDone(match("repair", name, knowledge.repair, {n: r.title for n, r in knowledge.repair.items()}))


def called_or_done(knowledge: Knowledge, job: Job, name: str) -> RepairDone | Skip:
    """A repair done; the first time that work of somebody else is told, that they are called for: it is done when it is told
    again."""
    done = take_repair(knowledge, name)
    theirs = knowledge.repair[done.name].by_others and done.name not in job.awaited
    return Skip(done.name, AWAITED) if theirs else done


_BETWEEN = re.compile(r"\s*[,;+&]\s*(?:and\s+)?|\s+and\s+", re.IGNORECASE)


def repairs_on(knowledge: Knowledge, line: str) -> list[str]:
    """The repairs that a line names: one as people type it, or several by their full names ("coil_set igniter"), or as people
    type them with "and" or a comma between.

    Raises UnknownName for what is no repair.
    """
    with contextlib.suppress(UnknownName):
        return [take_repair(knowledge, line).name]
    named: list[str] = []
    for part in filter(None, _BETWEEN.split(line.strip())):
        named += _full_names(knowledge, part.split()) or [take_repair(knowledge, part).name]
    return named


def _full_names(knowledge: Knowledge, words: list[str]) -> list[str]:
    """The repairs whose full names, one after the other, are these words; none when some of the words are no such name."""
    for count in range(len(words), 0, -1):
        name = fold(" ".join(words[:count]))
        if name in knowledge.repair:
            if count == len(words):
                return [name]
            rest = _full_names(knowledge, words[count:])
            if rest:
                return [name, *rest]
    return []


def take_skip(knowledge: Knowledge, name: str, reason: str = "") -> Skip:
    """A check or repair that cannot be done now, or a question that nobody can answer."""
    titles = {n: o.title for n, o in knowledge.observables.items()}
    titles |= {n: r.title for n, r in knowledge.repair.items()}
    titles |= {n: f.ask for n, f in knowledge.context.items()} | {n: f.ask for n, f in knowledge.equipment.items()}
    return Skip(match("check, repair or question", name, titles, titles), reason)


def refuse_absent(knowledge: Knowledge, facts: Mapping[str, str], items: Iterable[str]) -> None:
    """Refuse to take for open what this machine does not have."""
    absent = absent_ways(knowledge, facts)
    for item in items:
        if item in absent:
            fact = absent[item]
            raise FaultoddsError(
                f"{item}: not on this machine ({fact} is {facts[fact]}). If that is wrong, correct the fact first."
            )


def take_state(knowledge: Knowledge, items: Iterable[str]) -> MachineState:
    """The machine's state as the set of access items that are open now; everything else is closed.

    Raises FaultoddsError when an item cannot be open without another that is not said to be.
    """
    open_now = {
        match("access item", i, knowledge.access, {n: a.title for n, a in knowledge.access.items()}) for i in items
    }
    refuse_unsafe_state(knowledge, open_now)
    return MachineState({name: name in open_now for name in knowledge.access})


def evidence_of(appliance: Appliance, job: Job) -> Evidence:
    """A job as evidence: facts (those implied by the checks done among them), findings by stage and visit, repairs, returns."""
    k = appliance.knowledge
    seen = []
    facts = dict(job.facts)
    for placed in job.findings:
        f = placed.finding
        weights = (
            {f.outcome: 1.0} if f.outcome is not None else {o: w for o, w in (f.likelihood or {}).items() if w > 0}
        )
        seen.append(WeighedFinding(f.name, weights, placed.stage, f.take, placed.visit - 1))
        _imply(k, facts, f.name, k.observables[f.name].needs if f.name in k.observables else {})
    for name in job.repairs:
        _imply(k, facts, name, _has_parts_of(k, k.repair[name], facts))
    repairs = tuple(repair_effect(k, name) for name in job.repairs)
    return Evidence(facts, tuple(seen), repairs, tuple(_time_passed(k, back) for back in job.returns))


def _time_passed(knowledge: Knowledge, back: Return) -> TimePassed:
    """A complaint that came back as evidence: a fault may have come since, and somebody called."""
    new = 1.0 - math.exp(-knowledge.other_causes.new_a_year * back.days / DAYS_A_YEAR)
    return TimePassed(back.stage, new, knowledge.log.back_if_wrong, knowledge.log.back_if_right)


def _imply(knowledge: Knowledge, facts: dict[str, str], name: str, needs: Mapping[str, str]) -> None:
    """A check or repair of a part says that the machine has the part."""
    for fact, value in needs.items():
        if facts.get(fact, value) != value:
            words = knowledge.equipment[fact].values
            raise FaultoddsError(
                f"'{name}' is for a machine with {words[value]}, but this one is said to have {words[facts[fact]]} "
                f"({fact}={facts[fact]}). One of the two is wrong: correct the fact ({fact}={value}), or leave {name} out; when "
                f"it was entered before, take back {name}."
            )
        facts[fact] = value


def _has_parts_of(knowledge: Knowledge, repair: Repair, facts: Mapping[str, str]) -> dict[str, str]:
    """What a machine must be told to have for this repair: what the repair itself needs, and some part that it puts right."""
    needs = dict(repair.needs)
    parts = {mode.partition(".")[0] for mode in repair_modes(knowledge, repair)}
    for name, equipment in knowledge.equipment.items():
        having = [v for v in equipment.values if not parts <= set(equipment.lacks.get(v, ()))]
        if len(having) == 1 or (having and facts.get(name, having[0]) not in having):
            needs.setdefault(name, having[0])
    return needs


def situation_of(
    appliance: Appliance, job: Job, qualified: bool = True, labour_rate: float | None = None, effort: int = 1
) -> Situation:
    """Where the technician stands on this job, and how far ahead to look for it: what the shop file says of who is qualified and
    of tools that are not carried goes before all else."""
    state = frozenset(item for item, is_open in job.machine_state.items() if is_open)
    shop = appliance.shop
    looked_for_now = job.skipped_before_repair & appliance.knowledge.symptom.keys()
    skipped = job.skipped.keys() - looked_for_now | {*(appliance.knowledge.needing(shop.lacking) if shop else ())}
    may = qualified and (shop is None or shop.qualified)
    return Situation(state, frozenset(skipped), may, labour_rate, effort, asking=True)


def state_after(
    appliance: Appliance, job: Job, work: str, closed_up: bool = True, unlit: bool = False, dead: bool = False
) -> MachineState | None:
    """The machine state a check or repair leaves, as a step; None when it changes nothing. A repair is taken to be closed up
    for its run, unless the machine is not run (`closed_up` false): then it is left as it was worked on. `unlit`: it must not run
    with heat; `dead`: live work ends when it is dead again."""
    from faultodds.advice import MachineStates

    k = appliance.fitted(job.facts).knowledge
    state = frozenset(item for item, is_open in job.machine_state.items() if is_open)
    record = k.check.get(work) or k.repair.get(work)
    if record is None:
        return None
    machine = MachineStates(k, unlit)
    if dead:
        after = machine.to_steps(state, record, "unfit").after
    else:
        after = machine.leaves(state, record) if closed_up else machine.to_work(state, record).after
    changes = {i: i in after for i in k.access if (i in after) != (i in state)}
    return MachineState(changes) if changes else None


def steps_for_one_shot(
    knowledge: Knowledge,
    facts: Iterable[str],
    found: Iterable[str],
    readings: Iterable[str],
    repairs: Iterable[str] = (),
    ambient: str | None = None,
) -> list[Payload]:
    """The steps of a call given all at once on the command line; stop signs are looked for before anything else."""
    pairs = [pair(text, "--found") for text in found]
    measured = [pair(text, "--reading") for text in readings]
    for name, value in [*pairs, *measured]:
        stop_if_danger(knowledge, name, value)
        if told := told_by_reading(knowledge, name, value):
            raise SafetyStop(danger_in(told, {n: (s.title, s.steps) for n, s in knowledge.stop.items()}, ()) or told)
    steps: list[Payload] = [take_fact(knowledge, *pair(text, "--fact")) for text in facts]
    known = {s.name: s.value for s in steps if isinstance(s, Fact)}
    steps += [take_finding(knowledge, n, v, known, ambient).finding for n, v in pairs if fold(n) not in knowledge.stop]
    steps += [take_finding(knowledge, n, v, known, ambient, reading=True).finding for n, v in measured]
    for step in steps:
        if isinstance(step, Finding):
            stop_if_shown(knowledge, step)
    steps += [take_repair(knowledge, name) for name in repairs]
    return steps
