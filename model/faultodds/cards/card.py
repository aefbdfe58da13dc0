"""One fault on a card: how often, what it does, what is said of it, what shows it, what looks like it, what puts it right."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import Struct

from faultodds.advice import MachineStates, instructions
from faultodds.belief import Appliance, main_cause_weights
from faultodds.cards.chain import Link, chain
from faultodds.cards.naming import mended_by
from faultodds.cards.shown import Calls, Parting, Shown
from faultodds.knowledge import Knowledge

# A symptom is told of when it is said on so many calls with the fault, and this many times as often as without.
SAID, MORE_OFTEN = 0.15, 1.5
# A check shows a fault when it tells at least so much, in bits.
TELLS = 0.05
# A check that parts two faults less than this parts them hardly at all; total variation.
LEAST_APART = 0.2
CHECKS, SYMPTOMS, ALIKE = 5, 5, 3


class Card(Struct, frozen=True):
    """What there is to know of a fault; chances are of calls of the usual mix on such a machine.

    `only_on`: what machines can have it, equipment -> values, where some cannot.
    `share`: as the main cause; `beside`: beside another one. `brings` and `brought_by`: mode -> chance that it is there too when
    the other is the main cause. `alike`: faults that look like it, each with the check that parts the two (None: no check does).
    """

    mode: str
    title: str
    only_on: Mapping[str, tuple[str, ...]]
    share: float
    beside: float
    chain: tuple[Link, ...]
    said: tuple[Shown, ...]
    shows: tuple[Shown, ...]
    alike: tuple[tuple[str, Parting | None], ...]
    brings: Mapping[str, float]
    brought_by: Mapping[str, float]
    repairs: tuple[str, ...]
    advice: str
    cautions: tuple[str, ...]


def card(appliance: Appliance, mode: str, facts: Mapping[str, str] | None = None) -> Card:
    """The card of a fault, on a machine of which these facts are told. Raises FaultoddsError where they say that it has no such
    part."""
    calls = Calls(appliance, facts)
    k, s = calls.knowledge, calls.suspects
    record, repairs = dict(k.modes())[mode], mended_by(k, mode)
    weights = main_cause_weights(s, facts or {})
    main = float(weights[s.mains.index(mode)] / weights.sum())
    told = calls.belief.evidence.facts
    symptoms = [n for n, x in k.symptom.items() if all(told.get(f) == v for f, v in x.needs.items())]
    said = [x for x in calls.shown(mode, symptoms) if x.with_it >= SAID and x.with_it >= MORE_OFTEN * x.without]
    checks = [n for n, x in k.check.items() if n != k.costs.verify and calls.can_do(x)]
    alike = [(other, _parted(calls, mode, other)) for other in calls.look_alikes(mode, ALIKE)]
    return Card(
        mode,
        k.title_of(mode),
        _only_on(calls, mode),
        main,
        max(0.0, calls.chance[mode] - main),
        tuple(chain(k, s, mode)),
        tuple(said[:SYMPTOMS]),
        tuple(x for x in calls.shown(mode, checks) if x.bits >= TELLS)[:CHECKS],
        tuple(alike),
        dict(record.brings_on),
        {n: m.brings_on[mode] for n, m in k.modes() if mode in m.brings_on},
        tuple(repairs),
        record.advice,
        tuple(cautions(k, repairs[0])) if repairs else (),
    )


def _only_on(calls: Calls, mode: str) -> dict[str, tuple[str, ...]]:
    lacks, k = calls.suspects.lacks, calls.knowledge
    having = {f: tuple(v for v in e.values if mode not in lacks.get(f, {}).get(v, ())) for f, e in k.equipment.items()}
    return {f: values for f, values in having.items() if len(values) < len(k.equipment[f].values)}


def _parted(calls: Calls, mode: str, other: str) -> Parting | None:
    best = next(iter(calls.partings(mode, other)), None)
    return best if best is not None and best.apart >= LEAST_APART else None


def cautions(k: Knowledge, repair: str) -> list[str]:
    """What can hurt while a repair is done on a machine that is closed up, from its first move to the run that proves it."""
    told = (c for each in instructions(k, MachineStates(k), [repair]) for line in each.lines for c in line.cautions)
    return [k.caution[c].text for c in dict.fromkeys(told)]
