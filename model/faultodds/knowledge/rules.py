"""What a knowledge file must keep beyond types and known keys: names, sums, circles, reach, cautions.

Each rule yields a sentence for whoever edits the file, the key first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from faultodds.errors import KnowledgeError
from faultodds.knowledge.reach import check_reach, mode_place, states_of
from faultodds.knowledge.schema import (
    NOTHING_WRONG,
    OK,
    UNLISTED,
    UNLISTED_MODE,
    Knowledge,
    Observable,
)
from faultodds.knowledge.tables import mechanism_order
from faultodds.knowledge.work_rules import check_repairs, check_work, equipment_problems, no_such
from faultodds.readings import spec_problems

FORMAT = 1
SUM_TOLERANCE = 1e-6


def problems_of(knowledge: Knowledge, *, whole: bool = True) -> Iterator[str]:
    """Every problem of a knowledge file, one sentence each, in the order of the rules.

    What nothing shows or reads is asked only of a `whole` file whose names all stand for something.
    """
    found = False
    for rule in _RULES:
        for problem in rule(knowledge):
            found = True
            yield problem
    if whole and not found:
        yield from check_reach(knowledge)


# --- what the file means: each check yields problems as text; the first is raised --------------------------------------


def _check_header(k: Knowledge) -> Iterator[str]:
    if k.appliance.format != FORMAT:
        yield f"appliance.format: found {k.appliance.format}; this version reads format {FORMAT}."
    if k.costs.verify not in k.check:
        yield no_such("costs.verify", "check", k.costs.verify, k.check)
    for name in ("labour_rate", "callback", "refer", "travel"):
        if not 0 <= getattr(k.costs, name) < float("inf"):
            yield f"costs.{name}: found {getattr(k.costs, name)}; a cost is 0 or more."
    if not 0 <= k.other_causes.new_a_year < float("inf"):
        yield f"other_causes.new_a_year: found {k.other_causes.new_a_year}; it is 0 or more."
    if not 0 <= k.costs.fails_again < 1:
        yield f"costs.fails_again: found {k.costs.fails_again}; a chance from 0 and below 1."


def _check_names(k: Knowledge) -> Iterator[str]:
    """Every node of the network has its own identifier-like name."""
    used: dict[str, str] = {"main_cause": "the main cause", UNLISTED: "the unlisted cause"}
    for group in ("component", "context", "equipment", "mechanism", "symptom", "check", "stop"):
        for name in getattr(k, group):
            key = f"{group}.{name}"
            if not name.isidentifier() or "__" in name or name != name.lower():
                yield f"{key}: a name is lower-case letters, digits and single underscores, and starts with a letter."
            if name in used:
                yield f"{key}: the name '{name}' is already taken by {used[name]}; choose another."
            used[name] = key
    for mode, _ in k.modes():
        name = mode.partition(".")[2]
        if not name.isidentifier() or name == OK or "__" in name or name != name.lower():
            yield f"{mode_place(mode)}: a mode's name is lower-case letters, digits and single underscores, and not '{OK}'."


def total_of_shares(k: Knowledge) -> float:
    """What the shares of a file add up to; they are scaled to 1 when they are used."""
    return sum(r.share for _, r in k.modes()) + k.other_causes.nothing_wrong + k.other_causes.unlisted


def _check_shares(k: Knowledge) -> Iterator[str]:
    for mode, record in k.modes():
        if not 0 <= record.share < float("inf"):
            yield f"{mode_place(mode)}.share: found {record.share}; a share is 0 or more."
        if record.companion is not None and not 0 <= record.companion < 1:
            yield f"{mode_place(mode)}.companion: found {record.companion}; a chance is from 0 to under 1."
        for other, chance in record.brings_on.items():
            key = f"{mode_place(mode)}.brings_on"
            if other not in dict(k.modes()):
                yield no_such(key, "mode", other, dict(k.modes()))
            elif other.partition(".")[0] == mode.partition(".")[0]:
                yield f"{key}: '{other}' belongs to the same component; a component has one mode at a time."
            elif not 0 <= chance < 1:
                yield f"{key}.{other}: found {chance}; a chance is from 0 to under 1."
    for name in ("nothing_wrong", "unlisted", "companion"):
        if not 0 <= getattr(k.other_causes, name) < float("inf"):
            yield f"other_causes.{name}: found {getattr(k.other_causes, name)}; it is 0 or more."
    if not total_of_shares(k) > 0:
        yield "the shares of all main causes add up to nothing; give at least one fault a share above 0."
    for name, component in k.component.items():
        if not component.modes:
            yield f"component.{name}: has no modes; add one or take the component out."
        rates = [r.companion if r.companion is not None else k.other_causes.companion for r in component.modes.values()]
        if sum(rates) >= 1:
            yield f"component.{name}: the companion chances of its modes add up to {sum(rates):g}; keep them under 1."


def _check_facts(k: Knowledge) -> Iterator[str]:
    causes = [*dict(k.modes()), *k.component, NOTHING_WRONG, UNLISTED]
    for group, facts in (("context", k.context), ("equipment", k.equipment)):
        for name, fact in facts.items():
            key = f"{group}.{name}"
            if len(fact.values) < 2:
                yield f"{key}.values: a fact needs at least two values."
            for value, weight in fact.usual.items():
                if value not in fact.values:
                    yield no_such(f"{key}.usual", "value", value, fact.values)
                elif not 0 <= weight < float("inf"):
                    yield f"{key}.usual.{value}: found {weight}; a weight is 0 or more."
            missing = [v for v in fact.values if not fact.usual.get(v, 0) > 0]
            if missing:
                yield f"{key}.usual: '{missing[0]}' has no weight; give every value a weight above 0."
    for name, context in k.context.items():
        for cause, factors in context.more_often.items():
            key = f"context.{name}.more_often"
            if cause not in causes:
                yield no_such(key, "mode or component", cause, causes)
            for value, factor in factors.items():
                if value not in context.values:
                    yield no_such(f"{key}.{cause}", "value", value, context.values)
                elif not 0 < factor < float("inf"):
                    yield f"{key}.{cause}.{value}: found {factor}; a factor is above 0 (1 changes nothing)."
    for name, equipment in k.equipment.items():
        for value, parts in equipment.lacks.items():
            if value not in equipment.values:
                yield no_such(f"equipment.{name}.lacks", "value", value, equipment.values)
            for part in parts:
                if part not in k.component:
                    yield no_such(f"equipment.{name}.lacks.{value}", "component", part, k.component)
        everywhere = set.intersection(*(set(equipment.lacks.get(v, [])) for v in equipment.values))
        if everywhere:
            yield f"equipment.{name}.lacks: every value lacks '{min(everywhere)}'; then no machine has it."


def _ref_problem(k: Knowledge, key: str, ref: str) -> str | None:
    """A problem with a `parent.state` reference, or None."""
    known = [*dict(k.modes()), UNLISTED_MODE, *(f"{m}.{s}" for m, r in k.mechanism.items() for s in r.states)]
    if ref in known:
        parent, _, state = ref.partition(".")
        if parent in k.mechanism and state == next(iter(k.mechanism[parent].states)):
            return f"{key}: '{ref}' is the normal state; a cause must be a state that is not normal."
        return None
    return no_such(key, "mode or mechanism state", ref, known)


def _check_mechanisms(k: Knowledge) -> Iterator[str]:
    for name, mechanism in k.mechanism.items():
        key = f"mechanism.{name}"
        if len(mechanism.states) < 2:
            yield f"{key}.states: a mechanism needs at least two states, the normal one first."
        if not mechanism.causes:
            yield f"{key}.causes: nothing brings this mechanism about; add a cause or take it out."
        for state in mechanism.states:
            if not state.isidentifier() or "__" in state:
                yield f"{key}.states.{state}: a state's name is lower-case letters, digits and single underscores."
        for ref, effect in mechanism.causes.items():
            problem = _ref_problem(k, f"{key}.causes", ref)
            if problem:
                yield problem
            elif mechanism.rule == "adds_up":
                if not isinstance(effect, int) or effect < 1:
                    yield f"{key}.causes.{ref}: found {effect!r}; with rule 'adds_up' a cause adds 1 or more whole steps."
            elif effect not in mechanism.states:
                yield no_such(f"{key}.causes.{ref}", "state", str(effect), mechanism.states)
            elif effect == next(iter(mechanism.states)):
                yield f"{key}.causes.{ref}: '{effect}' is the normal state; a cause brings a state that is not normal."
    try:
        mechanism_order(k)
    except KnowledgeError as error:
        yield str(error)


def _check_observables(k: Knowledge) -> Iterator[str]:
    for group in ("symptom", "check"):
        for name, observable in getattr(k, group).items():
            yield from _observable_problems(k, f"{group}.{name}", observable)


def _observable_problems(k: Knowledge, key: str, o: Observable) -> Iterator[str]:
    if len(o.outcomes) < 2:
        yield f"{key}.outcomes: at least two outcomes are needed, the normal one first."
    for outcome in o.outcomes:
        if not outcome.isidentifier() or "__" in outcome:
            yield f"{key}.outcomes.{outcome}: an outcome's name is lower-case letters, digits and single underscores."
    if o.depends_on and (o.links or o.leak):
        yield f"{key}: has both 'depends_on' and 'links' or 'leak'; use one way or the other."
    if not o.depends_on and not o.links:
        yield f"{key}: can never inform anything: it has neither 'links' nor 'depends_on'."
    if o.depends_on:
        yield from _table_problems(k, key, o)
    else:
        yield from _weight_problems(f"{key}.leak", o.leak, o.outcomes)
        for ref, weights in o.links.items():
            problem = _ref_problem(k, f"{key}.links", ref)
            if problem:
                yield problem
            yield from _weight_problems(f"{key}.links.{ref}", weights, o.outcomes)
    for fact, value in o.needs.items():
        yield from equipment_problems(k, f"{key}.needs", fact, [value])


def _work_offers(k: Knowledge) -> Iterator[str]:
    """What a symptom, check or repair is not offered after names outcomes that exist."""
    known = k.observables
    offers = [
        (kind, n, x)
        for kind, all_of in (("symptom", k.symptom), ("check", k.check), ("repair", k.repair))
        for n, x in all_of.items()
    ]
    for kind, name, work in offers:
        for other, outcomes in work.unless.items():
            key = f"{kind}.{name}.unless"
            if other not in known:
                yield no_such(key, "symptom or check", other, known)
                continue
            for outcome in outcomes:
                if outcome not in known[other].outcomes:
                    yield no_such(f"{key}.{other}", "outcome", outcome, known[other].outcomes)


def _stop_problems(k: Knowledge) -> Iterator[str]:
    """Which outcomes stop the machine: ones that exist, and are not normal."""
    for name, seen in k.observables.items():
        for stops in ("stops_run", "stops_heat", "stops_away"):
            key = f"{'symptom' if name in k.symptom else 'check'}.{name}.{stops}"
            for outcome in getattr(seen, stops):
                if outcome not in seen.outcomes:
                    yield no_such(key, "outcome", outcome, seen.outcomes)
                elif outcome == next(iter(seen.outcomes)):
                    yield f"{key}: '{outcome}' is the normal outcome; only one that is not normal stops the run."


def _weight_problems(key: str, weights: float | Mapping[str, float], outcomes: Mapping[str, str]) -> Iterator[str]:
    if not isinstance(weights, Mapping):
        if weights and len(outcomes) != 2:
            yield f"{key}: found one number, but there are {len(outcomes)} outcomes; write {{ outcome = chance }}."
        if not 0 <= weights <= 1:
            yield f"{key}: found {weights}; a chance is from 0 to 1."
        return
    for outcome, chance in weights.items():
        if outcome not in outcomes:
            yield no_such(key, "outcome", outcome, outcomes)
        elif not 0 <= chance <= 1:
            yield f"{key}.{outcome}: found {chance}; a chance is from 0 to 1."
    total = sum(weights.values())
    if total > 1 + SUM_TOLERANCE:
        yield f"{key}: the chances add up to {total:g}; they must not pass 1 (the rest is '{next(iter(outcomes))}')."
    if next(iter(outcomes)) in weights and abs(total - 1) > SUM_TOLERANCE:
        yield f"{key}: names the normal outcome, so the chances must add up to 1; they add up to {total:g}."


def _table_problems(k: Knowledge, key: str, o: Observable) -> Iterator[str]:
    import itertools

    parents = [*k.component, *k.mechanism, UNLISTED]
    for parent in o.depends_on:
        if parent not in parents:
            yield no_such(f"{key}.depends_on", "component or mechanism", parent, parents)
            return
    rows = [", ".join(c) for c in itertools.product(*(states_of(k, p) for p in o.depends_on))]
    for row, cells in o.table.items():
        if row != "other" and row not in rows:
            yield no_such(f"{key}.table", "row", row, rows)
        for outcome, chance in cells.items():
            if outcome not in o.outcomes:
                yield no_such(f"{key}.table.{row}", "outcome", outcome, o.outcomes)
            elif not 0 <= chance <= 1:
                yield f"{key}.table.{row}.{outcome}: found {chance}; a chance is from 0 to 1."
        if abs(sum(cells.values()) - 1) > SUM_TOLERANCE:
            yield f"{key}.table.{row}: the outcomes add up to {sum(cells.values()):g}; they must add up to 1."
    missing = [r for r in rows if r not in o.table]
    if missing and "other" not in o.table:
        yield f"{key}.table: there is no row for '{missing[0]}'; add it, or a row called 'other'."


def _check_readings(k: Knowledge) -> Iterator[str]:
    for name, spec in k.reading.items():
        if name not in k.check:
            yield no_such("reading", "check", name, k.check)
            continue
        facts = {n: list(f.values) for n, f in (k.context | k.equipment).items()}
        if spec.fact and spec.fact not in facts:
            yield no_such(f"reading.{name}.fact", "fact", spec.fact, facts)
        for value in (v for v in spec.values if v not in facts.get(spec.fact, spec.values)):
            yield no_such(f"reading.{name}", f"value of '{spec.fact}'", value, facts[spec.fact])
        for problem in spec_problems(spec, list(k.check[name].outcomes)):
            yield f"reading.{name}: {problem}"


_RULES: tuple[Callable[[Knowledge], Iterator[str]], ...] = (
    _check_header,
    _check_names,
    _check_shares,
    _check_facts,
    _check_mechanisms,
    _check_observables,
    _work_offers,
    _stop_problems,
    _check_readings,
    check_work,
    check_repairs,
)
