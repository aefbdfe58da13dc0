"""What a knowledge file must keep of its work: what checks and repairs need and open, and that every mode has a repair."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from faultodds.errors import unknown
from faultodds.knowledge.fitted import kinds
from faultodds.knowledge.reach import mode_place
from faultodds.knowledge.schema import Knowledge, Work, repair_modes


def no_such(key: str, kind: str, found: str, allowed: Iterable[str]) -> str:
    """That a name in the file stands for nothing, with the nearest that does."""
    return str(unknown(kind, found, allowed, where=key, in_file=True))


def equipment_problems(k: Knowledge, key: str, fact: str, values: Iterable[str]) -> Iterator[str]:
    """What is wrong with an equipment fact and its values that something in the file names."""
    """That a fact is an equipment fact, and has these values."""
    if fact not in k.equipment:
        yield no_such(key, "equipment fact", fact, k.equipment)
        return
    for value in values:
        if value not in k.equipment[fact].values:
            yield no_such(f"{key}.{fact}", "value", value, k.equipment[fact].values)


def check_work(k: Knowledge) -> Iterator[str]:
    """What checks, repairs and access items need: names that exist, minutes and prices, hands safe."""
    groups = [(kind, group) for kind in kinds(k) for group in ("check", "repair")]
    works = ((kind, f"{group}.{n}", w) for kind, group in groups for n, w in getattr(kind, group).items())
    yield from dict.fromkeys(problem for work in works for problem in _work_problems(*work))
    for name, access in k.access.items():
        for field in ("requires", "also_by"):
            for other in getattr(access, field):
                if other not in k.access:
                    yield no_such(f"access.{name}.{field}", "access item", other, k.access)
        for caution in access.cautions:
            if caution not in k.caution:
                yield no_such(f"access.{name}.cautions", "caution", caution, k.caution)
        for field in ("open_minutes", "close_minutes"):
            if not 0 <= getattr(access, field) < float("inf"):
                yield f"access.{name}.{field}: found {getattr(access, field)}; minutes are 0 or more."
    yield from _access_circle(k)


def _access_circle(k: Knowledge) -> Iterator[str]:
    for name in k.access:
        path, todo = [name], list(k.access[name].requires)
        seen: set[str] = set()
        while todo:
            other = todo.pop()
            if other == name:
                yield f"access.{name}.requires: '{path[0]}' in the end requires itself; take one requirement out."
                return
            if other in k.access and other not in seen:
                seen.add(other)
                todo += k.access[other].requires


def _work_problems(k: Knowledge, key: str, work: Work) -> Iterator[str]:
    lists = {"access": work.access, "closed": work.closed}
    for fact, by in work.access_by.items():
        yield from equipment_problems(k, f"{key}.access_by", fact, by)
        lists |= {f"access_by.{fact}.{value}": items for value, items in by.items()}
    for field, items in lists.items():
        for item in items:
            if item not in k.access:
                yield no_such(f"{key}.{field}", "access item", item, k.access)
    both = [
        i
        for i in work.closed
        if i in work.access or any(i in k.access[a].requires for a in work.access if a in k.access)
    ]
    if both:
        yield f"{key}.closed: '{both[0]}' is needed open by this very work; take it out of one of the lists."
    for caution in work.cautions:
        if caution not in k.caution:
            yield no_such(f"{key}.cautions", "caution", caution, k.caution)
    for fact, value in work.needs.items():
        yield from equipment_problems(k, f"{key}.needs", fact, [value])
    for field in ("minutes", "cost"):
        if not 0 <= getattr(work, field) < float("inf"):
            yield f"{key}.{field}: found {getattr(work, field)}; it is 0 or more."
    covered = {hazard for c in work.cautions if c in k.caution for hazard in k.caution[c].covers}
    if work.energised and not work.qualified:
        yield f"{key}: is energised work, so it needs 'qualified = true'."
    if work.energised and "energised" not in covered:
        yield f"{key}.cautions: energised work needs a caution that covers 'energised'."
    if work.gas_work and "gas" not in covered:
        yield f"{key}.cautions: gas work needs a caution that covers 'gas'."
    if work.running and not work.energised and any(k.access[i].makes_safe for i in work.access if i in k.access):
        yield f"{key}: needs the machine running and shut off at once; take one out."
    if work.running and not work.energised and any(_needs_safe(k, i) for i in work.access if i in k.access):
        yield f"{key}: runs the machine with a panel off, so it is energised work: add 'energised = true'."


def _needs_safe(k: Knowledge, item: str) -> bool:
    return any(k.access[r].makes_safe for r in k.access[item].requires if r in k.access)


def check_repairs(k: Knowledge) -> Iterator[str]:
    """Every repair fixes something, and every mode has a repair."""
    modes = dict(k.modes())
    for name, repair in k.repair.items():
        for target in repair.fixes:
            if target not in modes and target not in k.component:
                yield no_such(f"repair.{name}.fixes", "mode or component", target, [*modes, *k.component])
        if not repair.fixes:
            yield f"repair.{name}.fixes: fixes nothing; name a mode or a component."
        if not 0 < repair.success <= 1:
            yield f"repair.{name}.success: found {repair.success}; a chance above 0 and up to 1."
        if repair.fails_again is not None and not 0 <= repair.fails_again < 1:
            yield f"repair.{name}.fails_again: found {repair.fails_again}; a chance from 0 and below 1."
    fixable = {m for r in k.repair.values() for m in repair_modes(k, r)}
    for mode in modes:
        if mode not in fixable:
            yield f"{mode_place(mode)}: no repair fixes this mode; add one, or add the mode to a repair's 'fixes'."
    for name in k.stop:
        if not k.stop[name].steps:
            yield f"stop.{name}.steps: a stop sign needs its steps."
