"""Words from the simulator to the model, and nothing else.

Facts, complaint and findings pass as a technician would type them: a reading as raw text where the knowledge file has
bands for it, an outcome by name where it has none. What is really wrong never passes.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

from faultodds.belief import WeighedFinding
from faultodds.errors import BadReading, FaultoddsError
from faultodds.job import take_finding
from faultodds.knowledge import ContextFact, EquipmentFact, Knowledge
from faultodds_sim.call import Observation, SimCall
from faultodds_sim.names import CHECKS, SYMPTOMS
from faultodds_sim.repairs import REPAIRS

#: Readings that the simulator gives in a form the file's bands are not for; the technician's word is taken instead.
#: Coils: one winding, where the file wants each. Bench heat: without the rating stamped on the part.
#: Verification: water left in the load, where the file has minutes. Relay: one voltage, where two are read.
BY_WORD = frozenset({"coil_ohms", "coil_ohms_hot", "cycling_bench_heat", "verification_run", "relay_output"})


def must_fit(knowledge: Knowledge) -> None:
    """Raise FaultoddsError when the simulated dryer has words that this knowledge file has not."""
    wanted = {"symptom": SYMPTOMS, "check": CHECKS, "repair": REPAIRS}
    has: dict[str, Collection[str]] = {
        "symptom": knowledge.symptom,
        "check": knowledge.check,
        "repair": knowledge.repair,
    }
    for kind, names in wanted.items():
        missing = [n for n in names if n not in has[kind]]
        if missing:
            raise FaultoddsError(
                f"the simulated machine is a vented gas dryer; '{knowledge.appliance.id}' has no {kind} called "
                f"'{missing[0]}' ({len(missing)} missing). Type --appliance gas_dryer, or keep that file's names."
            )
    observables = knowledge.observables
    for name, outcomes in {**SYMPTOMS, **CHECKS}.items():
        strange = [o for o in outcomes if o not in observables[name].outcomes]
        if strange:
            raise FaultoddsError(
                f"the simulated machine's '{name}' can show '{strange[0]}', which '{knowledge.appliance.id}' does not "
                f"know; it knows {', '.join(observables[name].outcomes)}. Type --appliance gas_dryer, or add the outcome."
            )


def facts_of(knowledge: Knowledge, call: SimCall) -> dict[str, str]:
    """What is known of machine and house at the door."""
    known: dict[str, ContextFact | EquipmentFact] = {**knowledge.context, **knowledge.equipment}
    told = {**call.facts, **call.equipment}
    return {name: value for name, value in told.items() if name in known and value in known[name].values}


def complaint_of(call: SimCall) -> tuple[WeighedFinding, ...]:
    """The customer's complaint as findings."""
    return tuple(WeighedFinding(name, {outcome: 1.0}) for name, outcome in call.complaint.items())


def weights_of(knowledge: Knowledge, shown: Observation, facts: Mapping[str, str]) -> dict[str, float]:
    """How likely each outcome is, by what a check showed."""
    typed = as_typed(shown)
    if shown.check not in knowledge.reading or typed is None:
        return {shown.outcome: 1.0}
    ambient = None if shown.ambient_f is None else f"{shown.ambient_f:.0f}F"
    try:
        taken = take_finding(knowledge, shown.check, typed, facts, ambient, reading=True).finding
    except BadReading:
        return {shown.outcome: 1.0}
    if taken.outcome is not None:
        return {taken.outcome: 1.0}
    return {outcome: weight for outcome, weight in (taken.likelihood or {}).items() if weight > 0.0}


def as_typed(shown: Observation) -> str | None:
    """The raw reading as a technician types it; None for a look and for what only a word can say."""
    if shown.value is None or shown.check in BY_WORD:
        return None
    if shown.check == "meter_clock":
        return "dial does not move" if shown.text == "no movement" else f"{shown.text} per half foot"
    return shown.text
