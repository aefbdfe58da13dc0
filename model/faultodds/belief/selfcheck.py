"""What a knowledge file says about itself: size, what its odds leave out, what nothing in it can tell apart.

Two modes are *indistinguishable* when every symptom and check has the same chances under either: no finding
will ever move the odds between them. A mode is *out of reach* when no check has other
chances than for a sound machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from msgspec import Struct

from faultodds.belief.appliance import Appliance
from faultodds.belief.posterior import prior_for
from faultodds.belief.suspects import Suspects
from faultodds.knowledge import UNLISTED_MODE, Floats, Knowledge, Table, build_tables, repair_modes

# Likelihoods closer than this are the same number after rounding.
SAME = 1e-9


class AmbiguityGroup(Struct, frozen=True):
    """Modes that no symptom or check tells apart; `repairs` are those that put all of them right."""

    modes: tuple[str, ...]
    repairs: tuple[str, ...]


class SelfCheck(Struct, frozen=True):
    """The report.

    `sizes` counts what is in the file and what it compiles to; `omitted_mass` is the prior chance of the
    combinations left out; `unreached` are the modes that no check shows (`unseen`: no symptom either).
    """

    sizes: dict[str, int]
    omitted_mass: float
    groups: tuple[AmbiguityGroup, ...]
    unreached: tuple[str, ...]
    unseen: tuple[str, ...]
    largest: Table


def self_check(appliance: Appliance) -> SelfCheck:
    """Look an appliance over; nothing here depends on findings."""
    k, s = appliance.knowledge, appliance.suspects
    unreached = _like_sound(s, list(k.check))
    unseen = set(_like_sound(s, list(k.symptom))) & set(unreached)
    return SelfCheck(
        sizes=sizes(k, s),
        omitted_mass=prior_for(s, {})[1],
        groups=tuple(AmbiguityGroup(g, _common_repairs(k, g)) for g in _groups(s)),
        unreached=tuple(unreached),
        unseen=tuple(m for m in unreached if m in unseen),
        largest=max(build_tables(k), key=lambda table: table.values.size),
    )


def sizes(k: Knowledge, s: Suspects) -> dict[str, int]:
    """How much of everything there is."""
    return {
        "components": len(k.component),
        "modes": len(dict(k.modes())),
        "mechanisms": len(k.mechanism),
        "symptoms": len(k.symptom),
        "checks": len(k.check),
        "repairs": len(k.repair),
        "facts": len(k.context) + len(k.equipment),
        "readings": len(k.reading),
        "suspects": len(s.member),
    }


def accepted_by_pgmpy(appliance: Appliance) -> tuple[int, int]:
    """Nodes and edges of the network once pgmpy's own check has passed it; else raises KnowledgeError.

    Imports pgmpy, which takes seconds.
    """
    from faultodds.knowledge import build_network

    network: Any = build_network(appliance.knowledge)
    return len(network.nodes()), len(network.edges())


def _singles(s: Suspects) -> dict[str, int]:
    """Suspect that is one mode alone, for every mode."""
    alone = np.flatnonzero(s.member.sum(axis=1) == 1)
    return {s.modes[int(s.member[h].argmax())]: int(h) for h in alone}


def _columns(s: Suspects, names: Sequence[str], suspects: Sequence[int]) -> Floats:
    """(rows of `names`, suspects) likelihoods."""
    rows = [r for name in names for r in range(s.rows[name].start, s.rows[name].stop)]
    return s.likelihood[np.ix_(rows, suspects)]


def _like_sound(s: Suspects, names: Sequence[str]) -> list[str]:
    """Modes under which all of `names` have the chances of a sound machine; the unlisted one aside."""
    singles = _singles(s)
    gap = np.abs(_columns(s, names, list(singles.values())) - _columns(s, names, [s.sound]))
    furthest = gap.max(axis=0, initial=0.0)
    return [m for m, g in zip(singles, furthest, strict=True) if g <= SAME and m != UNLISTED_MODE]


def _groups(s: Suspects) -> list[tuple[str, ...]]:
    """Modes with the same likelihood of everything, in file order; only groups of two and more."""
    singles = _singles(s)
    columns = _columns(s, list(s.observables), list(singles.values()))
    found: list[list[int]] = []
    for at in range(columns.shape[1]):
        for group in found:
            if np.abs(columns[:, at] - columns[:, group[0]]).max(initial=0.0) <= SAME:
                group.append(at)
                break
        else:
            found.append([at])
    modes = list(singles)
    return [tuple(modes[i] for i in group) for group in found if len(group) > 1]


def _common_repairs(k: Knowledge, modes: Sequence[str]) -> tuple[str, ...]:
    return tuple(name for name, repair in k.repair.items() if set(modes) <= set(repair_modes(k, repair)))
