"""What `appliance show` and `check` print: names, one thing in full, and the self-check in words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from faultodds.knowledge import total_of_shares
from faultodds.names import capital, rounded
from faultodds_cli.shared.show_advice import QUALIFIED_ONLY, outcomes_of, told_lines
from faultodds_cli.shared.text import cautions, labelled, money, percent_fine, wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance, SelfCheck
    from faultodds.knowledge import ContextFact, EquipmentFact, Knowledge


FAR_OFF = 0.1
"""How far the sum of the shares may be from `shares_per` without a word."""


def names_answer(k: Knowledge) -> dict[str, Any]:
    """The object of `appliance show --json`."""
    scale = total_of_shares(k)
    return {
        "appliance": k.appliance.id,
        "title": k.appliance.title,
        "faults": [{"mode": n, "title": k.title_of(n), "share": m.share / scale} for n, m in k.modes()],
        "symptoms": [{"symptom": n, "title": s.title, "outcomes": s.outcomes} for n, s in k.symptom.items()],
        "checks": [
            {
                "check": n,
                "title": c.title,
                "outcomes": c.outcomes,
                "minutes": c.minutes,
                "reading": n in k.reading,
            }
            for n, c in k.check.items()
        ],
        "repairs": [
            {"repair": n, "title": r.title, "fixes": r.fixes, "minutes": r.minutes, "cost": r.cost}
            for n, r in k.repair.items()
        ],
        "facts": [{"fact": n, "ask": f.ask, "values": f.values} for n, f in _facts(k).items()],
        "access": [{"item": n, "title": a.title} for n, a in k.access.items()],
        "stops": [{"stop": n, "title": s.title} for n, s in k.stop.items()],
    }


def title_lines(k: Knowledge) -> list[str]:
    return wrap(f"{capital(k.appliance.title)} [{k.appliance.id}]: {k.appliance.calls}.") + wrap(k.appliance.note)


def sections(k: Knowledge) -> dict[str, list[str]]:
    """The lists of `show`, each with its heading."""
    return {
        "faults": ["FAULTS, share of calls as the main cause", *_fault_lines(k)],
        "symptoms": ["SYMPTOMS, --found NAME=OUTCOME", *_outcome_lines(k, list(k.symptom))],
        "checks": ["CHECKS, --found NAME=OUTCOME; * takes --reading", *_outcome_lines(k, list(k.check))],
        "repairs": ["REPAIRS, --repaired NAME", *_repair_lines(k)],
        "facts": ["FACTS, --fact NAME=VALUE", *_fact_lines(k)],
        "access": ["ACCESS ITEMS, --open ITEM", *_words({n: a.title for n, a in k.access.items()})],
        "stops": [
            "STOP SIGNS, --found NAME=yes stops everything",
            *_words({n: s.title for n, s in k.stop.items()}),
        ],
    }


def page(k: Knowledge, what: str) -> list[str]:
    """One list, or one name in full, by what was typed."""
    lists = sections(k)
    choice = _named(k, what)
    return lists[choice] if choice in lists else detail(k, choice)


def fault_in(k: Knowledge, what: str) -> str:
    """The one fault that was typed, as people name it where no other name is meant; else ""."""
    from faultodds.cards import faults_meant
    from faultodds.errors import UnknownName

    modes = dict(k.modes())
    try:
        choice = _named(k, what)
        return choice if choice in modes else ""
    except UnknownName as problem:
        meant = faults_meant(k, what)
        if len(meant) > 1:
            listed = ", ".join(f"{m} ({modes[m].title})" for m in meant)
            raise UnknownName(
                f"'{what}' can be bad in more than one way: {listed}. Type the whole name of one."
            ) from problem
        return "".join(meant)


def _named(k: Knowledge, what: str) -> str:
    from faultodds.names import match

    names = named(k)
    hint = "Type 'faultodds appliance show' for all of them."
    return match("list or name", what, [*sections(k), *names], names, hint)


def _fault_lines(k: Knowledge) -> Iterator[str]:
    scale = total_of_shares(k)
    for component, record in k.component.items():
        yield from wrap(record.title, f"  {component}: ", "    ")
        for mode, m in record.modes.items():
            yield from wrap(m.title, f"    {m.share / scale:6.1%}  {component}.{mode}: ", " " * 14)
    for name, share in (
        ("unlisted", k.other_causes.unlisted),
        ("nothing_wrong", k.other_causes.nothing_wrong),
    ):
        yield from wrap(k.title_of(name), f"    {share / scale:6.1%}  {name}: ", " " * 14)


def _outcome_lines(k: Knowledge, names: list[str]) -> Iterator[str]:
    for name in names:
        star = "*" if name in k.reading else " "
        yield from wrap(f"{outcomes_of(k, name)}: {k.observables[name].title}", f" {star}", "      ")


def _repair_lines(k: Knowledge) -> Iterator[str]:
    for name, r in k.repair.items():
        parts = f"{r.minutes:.0f} min, {money(r.cost, k)} in parts"
        yield from wrap(f"{name}: {r.title} ({parts})", "  ", "      ")


def _facts(k: Knowledge) -> dict[str, ContextFact | EquipmentFact]:
    return {**k.context, **k.equipment}


def _fact_lines(k: Knowledge) -> Iterator[str]:
    for name, fact in _facts(k).items():
        yield from wrap(f"{name}={' | '.join(fact.values)}: {fact.ask}", "  ", "      ")


def named(k: Knowledge) -> dict[str, str]:
    """Everything with a page of its own: name to title."""
    modes = {mode: k.title_of(mode) for mode, _ in k.modes()}
    facts = {n: f.ask for n, f in _facts(k).items()}
    repairs = {n: r.title for n, r in k.repair.items()}
    return {**modes, **{n: o.title for n, o in k.observables.items()}, **repairs, **facts}


def detail(k: Knowledge, name: str) -> list[str]:
    """One name in full."""
    lines = wrap(f"{capital(named(k)[name])} [{name}]")
    observables, facts = k.observables, _facts(k)
    if name in observables:
        lines += ["Can show:", *_words(observables[name].outcomes)]
    if name in facts:
        lines += ["Values:", *_words(facts[name].values)]
    work = k.check.get(name) or k.repair.get(name)
    if work is not None:
        lines += wrap(f"Takes {work.minutes:.0f} min on the part itself; {money(work.cost, k)} in parts.")
        lines += wrap(f"Needs: {', '.join(work.access)}.") if work.access else []
        from faultodds.advice import MachineStates, instructions

        lines += cautions([QUALIFIED_ONLY] if work.qualified else [])
        lines += told_lines((line for told in instructions(k, MachineStates(k), [name]) for line in told.lines), k)
    if name in k.reading:
        from faultodds.readings import describe

        spec, outcomes = k.reading[name], list(k.check[name].outcomes)
        lines += wrap(f"Reading: {describe(spec, outcomes)} ({spec.source}).")
        for value in spec.values:
            lines += wrap(f"With {spec.fact}={value}: {describe(spec.given(value), outcomes)}.")
    if name in k.repair:
        from faultodds.knowledge import repair_modes

        lines += wrap(f"Puts right: {', '.join(repair_modes(k, k.repair[name]))}.")
    return [line for line in lines if line]


def _words(values: dict[str, str]) -> list[str]:
    return [line for name, words in values.items() for line in labelled(f"  {name:20} ", words, 23)]


def check_answer(appliance: Appliance, report: SelfCheck, nodes: int, edges: int) -> dict[str, Any]:
    """The object of `appliance check --json`."""
    table = report.largest
    return {
        "appliance": appliance.knowledge.appliance.id,
        "sizes": report.sizes,
        "omitted_mass": rounded(report.omitted_mass),
        "shares_total": total_of_shares(appliance.knowledge),
        "ambiguity_groups": [{"modes": list(g.modes), "repairs": list(g.repairs)} for g in report.groups],
        "unreached": list(report.unreached),
        "unseen": list(report.unseen),
        "largest_table": {
            "node": table.node,
            "parents": list(table.parents),
            "cells": int(table.values.size),
        },
        "network": {"nodes": nodes, "edges": edges, "check_model": True},
    }


def check_lines(name: str, appliance: Appliance, report: SelfCheck, nodes: int, edges: int) -> list[str]:
    """The report in words."""
    k, size = appliance.knowledge, report.sizes
    share = percent_fine(report.omitted_mass)
    lines = wrap(f"{name}: sound. {k.appliance.title}, {k.appliance.calls}.")
    lines += _sum_lines(k)
    lines += ["", *wrap(", ".join(f"{count:,} {thing}" for thing, count in size.items()) + ".", "Size: ")]
    lines += wrap(f"combinations of faults with {share} of the calls are left out of the odds.", "Left out: ")
    table = report.largest
    parents = ", ".join(table.parents) or "none"
    lines += wrap(f"{table.node}, {table.values.size:,} cells (parents: {parents}).", "Largest table: ")
    lines += wrap(f"{nodes} nodes, {edges} edges; pgmpy's check passed.", "Network: ")
    return [*lines, "", *_group_lines(k, report), "", *_reach_lines(k, report)]


def _sum_lines(k: Knowledge) -> list[str]:
    """A word when the shares add up to something far from what the file says they are parts of."""
    total = total_of_shares(k)
    if abs(total - k.appliance.shares_per) <= FAR_OFF * k.appliance.shares_per:
        return []
    return wrap(
        f"they add up to {total:g}, appliance.shares_per says {k.appliance.shares_per:g}. Each is taken as a part of {total:g}.",
        "Shares: ",
    )


def _group_lines(k: Knowledge, report: SelfCheck) -> Iterator[str]:
    if not report.groups:
        yield from wrap("Every pair of faults is told apart by some symptom or check.")
        return
    yield from wrap("Faults that no symptom or check tells apart (only shares and intake facts do):")
    for group in report.groups:
        yield from wrap("; ".join(k.title_of(m) for m in group.modes), "  - ")
        cure = " or ".join(group.repairs)
        same = f"the same repair fixes them ({cure}), so it does not matter." if cure else "add a check if it matters."
        yield from wrap(same, "    ")


def _reach_lines(k: Knowledge, report: SelfCheck) -> Iterator[str]:
    if not report.unreached:
        yield from wrap("Every fault can be reached by some check.")
        return
    yield from wrap("Faults that no check can reach:")
    for mode in report.unreached:
        how = "no symptom shows it either" if mode in report.unseen else "symptoms show it"
        yield from wrap(f"{k.title_of(mode)} [{mode}]: {how}.", "  - ")
