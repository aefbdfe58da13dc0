"""The file for one machine: work whose way in, and readings whose bands, depend on what the machine has, by this machine's."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator, Mapping
from typing import TypeVar

from faultodds.knowledge.schema import Check, Knowledge, Repair, Work

W = TypeVar("W", Check, Repair)


def fitted(knowledge: Knowledge, facts: Mapping[str, str]) -> Knowledge:
    """The knowledge with `access` of all work and the bands of all readings as they are on a machine with these facts; the same
    object where nothing differs.

    A fact that is not told leaves the general way, which the file keeps the dearer one: what is priced is then also what is
    told step by step, and knowing more can only make it cheaper.
    """
    told = frozenset((fact, value) for fact, value in facts.items() if fact in knowledge.shaping)
    if told not in knowledge.made_so:
        knowledge.made_so[told] = _made(knowledge, dict(told))
    return knowledge.made_so[told]


def _made(knowledge: Knowledge, facts: Mapping[str, str]) -> Knowledge:
    check, repair = _fitted(knowledge.check, facts), _fitted(knowledge.repair, facts)
    of_its_own = (spec.given(facts.get(spec.fact)) for spec in knowledge.reading.values())
    reading = {
        n: spec for n, spec in zip(knowledge.reading, of_its_own, strict=True) if spec is not knowledge.reading[n]
    }
    if not check and not repair and not reading:
        return knowledge
    return dataclasses.replace(
        knowledge, check=knowledge.check | check, repair=knowledge.repair | repair, reading=knowledge.reading | reading
    )


def _fitted(works: Mapping[str, W], facts: Mapping[str, str]) -> dict[str, W]:
    """The works whose access is another on this machine."""
    found = {}
    for name, work in works.items():
        access = access_of(work, facts)
        if access != work.access:
            found[name] = dataclasses.replace(work, access=access)
    return found


def access_of(work: Work, facts: Mapping[str, str]) -> list[str]:
    """What must be open for some work on a machine with these facts."""
    ways = (by[facts[fact]] for fact, by in work.access_by.items() if facts.get(fact) in by)
    return next(ways, work.access)


def absent_ways(knowledge: Knowledge, facts: Mapping[str, str]) -> dict[str, str]:
    """The access items that a machine with these facts does not have, each with the fact that says so: work goes through them
    where the fact has another value, and none does here."""
    works = (*knowledge.check.values(), *knowledge.repair.values())
    used = {item for work in works for item in access_of(work, facts)}
    ways = ((f, value, i) for w in works for f, by in w.access_by.items() for value, there in by.items() for i in there)
    return {i: f for f, value, i in ways if f in facts and value != facts[f] and i not in used}


def kinds(knowledge: Knowledge) -> Iterator[Knowledge]:
    """The knowledge for every kind of machine that has ways in of its own, the general one first."""
    works = (*knowledge.check.values(), *knowledge.repair.values())
    facts = list(dict.fromkeys(fact for work in works for fact in work.access_by))
    choices = [["", *(dict.fromkeys(v for w in works for v in w.access_by.get(fact, {})))] for fact in facts]
    for values in itertools.product(*choices):
        yield fitted(knowledge, {f: v for f, v in zip(facts, values, strict=True) if v})
