"""What nothing in a knowledge file can ever show, bring or read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from faultodds.knowledge.schema import OK, UNLISTED, Knowledge, Observable


def mode_place(mode: str) -> str:
    """Where a mode stands in the file, as the heading of its table has it."""
    return f"component.{mode.replace('.', '.modes.', 1)}"


def states_of(k: Knowledge, parent: str) -> list[str]:
    if parent in k.component:
        return [OK, *k.component[parent].modes]
    if parent == UNLISTED:
        return [OK, "present"]
    return list(k.mechanism[parent].states)


def check_reach(k: Knowledge) -> Iterator[str]:
    """Modes that nothing shows, mechanisms that nothing reads, checks that cannot tell anything."""
    read = {ref.partition(".")[0] for m in k.mechanism.values() for ref in m.causes}
    refs = {ref for m in k.mechanism.values() for ref in m.causes}
    for o in k.observables.values():
        read |= {ref.partition(".")[0] for ref in o.links} | set(o.depends_on)
        refs |= set(o.links)
        refs |= {f"{p}.{s}" for p in o.depends_on for s in states_of(k, p)}
    for mode, _ in k.modes():
        if mode not in refs:
            yield f"{mode_place(mode)}: no mechanism, symptom or check ever shows this mode; link it or take it out."
    modes = {mode for mode, _ in k.modes()}
    for check, record in k.check.items():
        for target in record.shown_only:
            if not set(k.modes_under(target)) <= modes:
                yield f"check.{check}.shown_only: there is no mode or component '{target}'."
    for name in k.mechanism:
        if name not in read:
            yield f"mechanism.{name}: no symptom, check or other mechanism reads it; link it or take it out."
    for group in ("symptom", "check"):
        for name, o in getattr(k, group).items():
            if _tells_nothing(o):
                yield f"{group}.{name}: can never inform anything: its chances are the same whatever is wrong."
            for outcome in _never_shown(o):
                yield (
                    f"{group}.{name}.outcomes.{outcome}: nothing ever brings this outcome; give it a chance in "
                    f"{'the table' if o.depends_on else 'leak or links'}, or take it out."
                )


def _tells_nothing(o: Observable) -> bool:
    if o.depends_on:
        rows = [tuple(row.get(x, 0.0) for x in o.outcomes) for row in o.table.values()]
        return len(set(rows)) <= 1
    return all((sum(w.values()) if isinstance(w, Mapping) else w) == 0 for w in o.links.values())


def _never_shown(o: Observable) -> list[str]:
    """Outcomes that no cause and no chance brings; the normal one needs none unless there is a table."""
    if o.depends_on:
        shown = {outcome for row in o.table.values() for outcome, chance in row.items() if chance > 0}
        return [outcome for outcome in o.outcomes if outcome not in shown]
    others = list(o.outcomes)[1:]
    weights = [w if isinstance(w, Mapping) else dict.fromkeys(others[:1], w) for w in (o.leak, *o.links.values())]
    return [outcome for outcome in others if not any(w.get(outcome, 0) > 0 for w in weights)]
