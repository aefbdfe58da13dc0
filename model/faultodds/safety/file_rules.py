"""What a knowledge file must declare to be used at all: each rule yields its problems, the place in the file first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from faultodds.errors import KnowledgeError, unknown
from faultodds.knowledge import kinds, mode_place
from faultodds.safety.rules import needed_first, shut_off_for

if TYPE_CHECKING:
    from faultodds.knowledge import Access, Knowledge, Work

# A caution is read at a glance, or not at all.
LONGEST_CAUTION = 100
# Hazards that reach people who touch nothing: a sign of them stops everything.
STOPS_EVERYTHING = ("gas", "co", "fire")
# A clause that runs the machine.
_RUNS = re.compile(
    r"(?:^|[.:;,]\s*)(?:and |then )*(?:(?:run|start|light|relight)\b|watch it\b|watch\b.*\bburner)", re.I
)


def refuse_unsafe_file(knowledge: Knowledge, where: str) -> None:
    """Raise KnowledgeError with the safety rules that a file breaks; `where` names the file."""
    found = list(dict.fromkeys(problems(knowledge)))
    if found:
        raise KnowledgeError.all_of(where, found)


def problems(knowledge: Knowledge) -> Iterator[str]:
    """Every safety rule that a file breaks, one sentence each."""
    yield from _without_a_stop_sign(knowledge)
    for name, item in knowledge.access.items():
        yield from _item_problems(knowledge, name, item)
    for name, seen in knowledge.observables.items():
        place = f"{'symptom' if name in knowledge.symptom else 'check'}.{name}"
        for outcome in (o for o in seen.lets_out if o not in seen.outcomes):
            yield unknown_at(f"{place}.lets_out", "outcome", outcome, seen.outcomes)
        for outcome, text in seen.stops_away.items():
            if "{minutes}" not in text:
                yield f"{place}.stops_away.{outcome}: say who stands beside it, and for {{minutes}}."
    for sign, stop in knowledge.stop.items():
        for check, outcomes in stop.shown_by.items():
            if check not in knowledge.check:
                yield unknown_at(f"stop.{sign}.shown_by", "check", check, knowledge.check)
                continue
            for outcome in (o for o in outcomes if o not in knowledge.check[check].outcomes):
                yield unknown_at(f"stop.{sign}.shown_by.{check}", "outcome", outcome, knowledge.check[check].outcomes)
    for name, mode in knowledge.modes():
        for check in mode.cause_shown_by:
            if check not in knowledge.check:
                yield unknown_at(f"{mode_place(name)}.cause_shown_by", "check", check, knowledge.check)
    yield from _run_problems(knowledge)
    yield from dict.fromkeys(problem for kind in kinds(knowledge) for problem in _all_work_problems(kind))
    for name, caution in knowledge.caution.items():
        if len(caution.text) > LONGEST_CAUTION:
            found = f"{len(caution.text)} characters"
            yield f"caution.{name}.text: {found}; at most {LONGEST_CAUTION}, so that it is read. Say what to do, and no more."


def _all_work_problems(k: Knowledge) -> Iterator[str]:
    for group in ("check", "repair"):
        for name, work in getattr(k, group).items():
            yield from _work_problems(k, f"{group}.{name}", work)


def _without_a_stop_sign(k: Knowledge) -> Iterator[str]:
    """A hazard that can reach everybody in the house needs a sign that stops everything."""
    covered = {hazard for stop in k.stop.values() for hazard in stop.covers}
    for hazard in STOPS_EVERYTHING:
        place = _declared(k, hazard)
        if place and hazard not in covered:
            yield f'stop: no stop sign covers "{hazard}", a hazard of {place}; add a [stop.NAME] with covers = ["{hazard}"].'


def unknown_at(place: str, kind: str, found: str, allowed: Iterable[str]) -> str:
    """That a name in the file stands for nothing, with the nearest that does."""
    return f"{place}: {unknown(kind, found, allowed, in_file=True)}"


def _run_problems(k: Knowledge) -> Iterator[str]:
    """The cautions of the run that proves a repair are said before every run with heat: they cover what reaches everybody."""
    run = k.check.get(k.costs.verify)
    covered = {hazard for c in run.cautions if c in k.caution for hazard in k.caution[c].covers} if run else set()
    for hazard in ("gas", "co"):
        if run and hazard not in covered and any(hazard in (a.makes_safe, *a.lets_out) for a in k.access.values()):
            yield f"check.{k.costs.verify}.cautions: it lights the machine, so it needs a caution that covers '{hazard}'."
    for name, check in k.check.items():
        for item in check.unless_open:
            if item not in k.access:
                yield unknown_at(f"check.{name}.unless_open", "access item", item, k.access)
    for name, fact in k.context.items():
        for value in fact.advice:
            if value not in fact.values:
                yield unknown_at(f"context.{name}.advice", "value", value, fact.values)


def _declared(k: Knowledge, hazard: str) -> str:
    """Where a file speaks of a hazard first; empty when it does not."""
    places = [f"access.{n}" for n, a in k.access.items() if hazard in (a.makes_safe, *a.lets_out)]
    if hazard == "gas":
        places += [f"{g}.{n}" for g in ("check", "repair") for n, w in getattr(k, g).items() if w.gas_work]
    places += [f"caution.{n}" for n, c in k.caution.items() if hazard in c.covers]
    return places[0] if places else ""


def _item_problems(k: Knowledge, name: str, item: Access) -> Iterator[str]:
    key = f"access.{name}"
    for other in item.close_while:
        if other not in k.access:
            yield unknown_at(f"{key}.close_while", "access item", other, k.access)
    answers = {
        **{n: f.values for n, f in (k.context | k.equipment).items()},
        **{n: s.outcomes for n, s in k.symptom.items()},
    }
    for asked, values in item.not_while.items():
        if asked not in answers:
            yield unknown_at(f"{key}.not_while", "fact or symptom", asked, answers)
            continue
        for value in values:
            if value not in answers[asked]:
                yield unknown_at(f"{key}.not_while.{asked}", "value", value, answers[asked])
    if item.blocks_running and item.makes_safe is None:
        first = needed_first(k, name)
        for hazard in dict.fromkeys(a.makes_safe for a in k.access.values() if a.makes_safe):
            if not any(k.access[i].makes_safe == hazard for i in first):
                shut = next(n for n, a in k.access.items() if a.makes_safe == hazard)
                yield f"{key}.requires: it opens with the {hazard} on; add '{shut}'."
        if not any(a.makes_safe == "power" for a in k.access.values()):
            yield f'{key}.requires: nothing shuts the power off; add an access item with makes_safe = "power" and require it.'
    if not (item.blocks_running or item.makes_safe):
        off = {*needed_first(k, name), *item.shut_first}
        for other in (n for n, a in k.access.items() if a.makes_safe and n not in off):
            yield f"{key}.shut_first: the machine is moved with the {k.access[other].makes_safe} on; add '{other}'."
    for other in item.shut_first:
        if other not in k.access:
            yield unknown_at(f"{key}.shut_first", "access item", other, k.access)
    if item.lets_out and "{minutes}" not in item.watch:
        yield f"{key}.watch: it lets out {', '.join(item.lets_out)}; say who watches what, and for {{minutes}}."


def _work_problems(k: Knowledge, key: str, work: Work) -> Iterator[str]:
    inside = shut_off_for(k, work)
    yield from _parts_problems(key, work)
    if inside and work.gas_work and not work.qualified:
        yield f"{key}: is gas work behind a panel, so it needs 'qualified = true'."
    if inside and not work.running:
        for part in ("fit", "steps", "unfit"):
            for text in getattr(work, part):
                if _RUNS.search(text):
                    yield f"{key}.{part}: '{text}' runs the machine behind an open panel; put it under 'prove' or 'run_first'."
    if not work.running:
        yield from _moved_live_problems(k, key, work)
    if work.running:
        yield from _let_out_problems(k, key, work)


def _parts_problems(key: str, work: Work) -> Iterator[str]:
    if work.energised and not (work.fit and work.unfit):
        yield f"{key}: energised work says what is fitted dead ('fit') and taken off dead ('unfit')."
    if not work.energised and (work.fit or work.unfit):
        yield f"{key}: 'fit' and 'unfit' are for energised work; put the steps under 'steps'."
    if work.tight and not (work.gas_work and work.qualified):
        yield f"{key}.tight: gas comes on with a panel off, so it needs 'gas_work = true' and 'qualified = true'."
    if work.prove and not (hasattr(work, "fixes") or (work.energised and work.gas_work)):
        yield f"{key}.prove: only a repair or live gas work is proved; put the steps under 'steps'."


def _moved_live_problems(k: Knowledge, key: str, work: Work) -> Iterator[str]:
    """Work with hands at what is no panel, such as a machine pulled out: everything is shut off before it is moved."""
    first = {item for i in work.access if i in k.access for item in (i, *needed_first(k, i))}
    if any(not k.access[i].blocks_running for i in first):
        for shut in (n for n, a in k.access.items() if a.makes_safe and n not in first):
            yield f"{key}.access: hands are at the machine with the {k.access[shut].makes_safe} on; add '{shut}'."


def _let_out_problems(k: Knowledge, key: str, work: Work) -> Iterator[str]:
    """Work that runs the machine with something open that lets a hazard out: attended, timed, with the cautions for it."""
    covered = {hazard for c in work.cautions if c in k.caution for hazard in k.caution[c].covers}
    for item in (i for i in work.access if i in k.access and k.access[i].lets_out):
        if work.away:
            yield f"{key}: runs the machine with '{item}' and nobody beside it ('away'); take '{item}' out of access."
        if not work.unheated:
            yield f"{key}: lights the burner with '{item}'; say 'unheated = true', or measure through a port with it on."
        if not 0 < work.run_minutes < float("inf"):
            yield f"{key}.run_minutes: runs the machine with '{item}'; say for how many minutes at most."
        for hazard in (h for h in k.access[item].lets_out if h not in covered):
            yield f"{key}.cautions: runs the machine with '{item}', so it needs a caution that covers '{hazard}'."
