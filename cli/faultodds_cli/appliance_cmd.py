"""`appliance`: what there is, what a knowledge file says, whether it is sound, its network as a file."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from faultodds.errors import FaultoddsError

from faultodds_cli.common import DEFAULT_APPLIANCE, JsonOption, new_app, say, say_json

if TYPE_CHECKING:
    from faultodds.appliance import Appliance
    from faultodds.schema import ContextFact, EquipmentFact, Knowledge
    from faultodds.selfcheck import SelfCheck

app = new_app("Knowledge files: list, show, check, export.")

NameArgument = Annotated[
    str,
    typer.Argument(
        metavar="[NAME|FILE]", help="A shipped appliance, or a knowledge file.", show_default=False
    ),
]


class Form(StrEnum):
    """File formats of a network."""

    bif = "bif"
    xmlbif = "xmlbif"


@app.command("list")
def list_command(as_json: JsonOption = False) -> None:
    """The appliances that come with the program."""
    from faultodds.knowledge import load, shipped

    found = [(name, load(name)) for name in shipped()]
    if as_json:
        say_json(
            {
                "appliances": [
                    {"name": n, "title": k.appliance.title, "calls": k.appliance.calls} for n, k in found
                ]
            }
        )
        return
    from faultodds_cli.show import wrap

    for name, k in found:
        say(wrap(f"{k.appliance.title}: {k.appliance.calls}", f"{name}  "))
    say(wrap("A knowledge file of your own is used by its path: --appliance my_dryer.toml"))


@app.command("show")
def show_command(
    name: NameArgument = DEFAULT_APPLIANCE,
    what: Annotated[
        str | None,
        typer.Argument(
            metavar="[WHAT]", help="faults, symptoms, checks, repairs, facts, access, stops, or one name."
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Every name that can be typed: faults with their shares, symptoms, checks, repairs, facts ...

    Examples: faultodds appliance show gas_dryer checks / faultodds appliance show gas_dryer coil_ohms
    """
    from faultodds.knowledge import load

    k = load(name)
    if as_json:
        say_json(names_answer(k))
        return
    sections = _sections(k)
    if what is None:
        say(_title_lines(k))
        for section in sections:
            say(["", *sections[section]])
        return
    from faultodds.names import match

    choice = match("list or name", what, [*sections, *_named(k)], _named(k), _HINT)
    say(sections[choice] if choice in sections else _detail(k, choice))


_HINT = "Type 'faultodds appliance show' for all of them."


def names_answer(k: Knowledge) -> dict[str, Any]:
    """The object of `appliance show --json`."""
    scale = sum(m.share for _, m in k.modes()) + k.other_causes.unlisted + k.other_causes.nothing_wrong
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


def _title_lines(k: Knowledge) -> list[str]:
    from faultodds_cli.show import capital, wrap

    return wrap(f"{capital(k.appliance.title)} [{k.appliance.id}]: {k.appliance.calls}.") + wrap(
        k.appliance.note
    )


def _sections(k: Knowledge) -> dict[str, list[str]]:
    """The lists of `show`, each with its heading."""
    return {
        "faults": ["FAULTS, share of calls as the main cause", *_fault_lines(k)],
        "symptoms": ["SYMPTOMS, --found NAME=OUTCOME", *_outcome_lines(k, list(k.symptom))],
        "checks": ["CHECKS, --found NAME=OUTCOME; * takes --reading", *_outcome_lines(k, list(k.check))],
        "repairs": ["REPAIRS, --repaired NAME", *_repair_lines(k)],
        "facts": ["FACTS, --fact NAME=VALUE", *_fact_lines(k)],
        "access": ["ACCESS ITEMS, --open ITEM", *(f"  {n:20} {a.title}" for n, a in k.access.items())],
        "stops": [
            "STOP SIGNS, --found NAME=yes stops everything",
            *(f"  {n:20} {s.title}" for n, s in k.stop.items()),
        ],
    }


def _fault_lines(k: Knowledge) -> Iterator[str]:
    from faultodds_cli.show import wrap

    scale = sum(m.share for _, m in k.modes()) + k.other_causes.unlisted + k.other_causes.nothing_wrong
    for component, record in k.component.items():
        yield from wrap(record.title, f"  {component}: ", "    ")
        for mode, m in record.modes.items():
            yield from wrap(m.title, f"    {m.share / scale:6.1%}  {component}.{mode}: ", " " * 14)
    for name, share in (
        ("unlisted", k.other_causes.unlisted),
        ("nothing_wrong", k.other_causes.nothing_wrong),
    ):
        yield f"    {share / scale:6.1%}  {name}: {k.title_of(name)}"


def _outcome_lines(k: Knowledge, names: list[str]) -> Iterator[str]:
    from faultodds_cli.show import outcomes_of, wrap

    for name in names:
        star = "*" if name in k.reading else " "
        yield from wrap(f"{outcomes_of(k, name)}: {k.observables()[name].title}", f" {star}", "      ")


def _repair_lines(k: Knowledge) -> Iterator[str]:
    from faultodds_cli.show import money, wrap

    for name, r in k.repair.items():
        parts = f"{r.minutes:.0f} min, {money(r.cost, k)} in parts"
        yield from wrap(f"{name}: {r.title} ({parts})", "  ", "      ")


def _facts(k: Knowledge) -> dict[str, ContextFact | EquipmentFact]:
    return {**k.context, **k.equipment}


def _fact_lines(k: Knowledge) -> Iterator[str]:
    from faultodds_cli.show import wrap

    for name, fact in _facts(k).items():
        yield from wrap(f"{name}={' | '.join(fact.values)}: {fact.ask}", "  ", "      ")


def _named(k: Knowledge) -> dict[str, str]:
    """Everything with a page of its own: name to title."""
    modes = {mode: k.title_of(mode) for mode, _ in k.modes()}
    facts = {n: f.ask for n, f in _facts(k).items()}
    repairs = {n: r.title for n, r in k.repair.items()}
    return {**modes, **{n: o.title for n, o in k.observables().items()}, **repairs, **facts}


def _detail(k: Knowledge, name: str) -> list[str]:
    """One name in full."""
    from faultodds_cli.show import capital, wrap

    lines = wrap(f"{capital(_named(k)[name])} [{name}]")
    observables, facts = k.observables(), _facts(k)
    if name in observables:
        lines += ["Can show:", *_words(observables[name].outcomes)]
    if name in facts:
        lines += ["Values:", *_words(facts[name].values)]
    work = k.check.get(name) or k.repair.get(name)
    if work is not None:
        from faultodds_cli.show import money

        lines += wrap(f"Takes {work.minutes:.0f} min on the part itself; {money(work.cost, k)} in parts.")
        lines += wrap(f"Needs: {', '.join(work.access)}.") if work.access else []
        lines += [line for c in work.cautions for line in wrap(k.caution[c].text, "  !! ")]
        lines += [line for i, step in enumerate(work.steps, 1) for line in wrap(step, f"  {i:2}. ")]
    if name in k.reading:
        from faultodds.readings.wording import describe

        spec = k.reading[name]
        lines += wrap(f"Reading: {describe(spec, list(k.check[name].outcomes), None)} ({spec.source}).")
    if name in dict(k.modes()):
        from faultodds.knowledge import repair_modes

        by = [n for n, r in k.repair.items() if name in repair_modes(k, r)]
        lines += wrap(f"Put right by: {', '.join(by)}.")
        lines += wrap(dict(k.modes())[name].advice)
    return [line for line in lines if line]


def _words(values: dict[str, str]) -> list[str]:
    return [f"  {name:20} {words}" for name, words in values.items()]


@app.command("check")
def check_command(
    name: Annotated[
        str, typer.Argument(metavar="FILE|NAME", help="A knowledge file, or a shipped appliance.")
    ],
    as_json: JsonOption = False,
) -> None:
    """Validate a knowledge file and print what it says about itself."""
    from faultodds.appliance import compiled
    from faultodds.knowledge import load
    from faultodds.selfcheck import accepted_by_pgmpy, self_check

    appliance = compiled(load(name))
    report = self_check(appliance)
    nodes, edges = accepted_by_pgmpy(appliance)
    if as_json:
        say_json(check_answer(appliance, report, nodes, edges))
    else:
        say(check_lines(name, appliance, report, nodes, edges))


def check_answer(appliance: Appliance, report: SelfCheck, nodes: int, edges: int) -> dict[str, Any]:
    """The object of `appliance check --json`."""
    table = report.largest
    return {
        "appliance": appliance.knowledge.appliance.id,
        "sizes": report.sizes,
        "omitted_mass": float(f"{report.omitted_mass:.6g}"),
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
    from faultodds_cli.show import wrap

    k, size = appliance.knowledge, report.sizes
    share = f"{report.omitted_mass * 100:.2g} %"
    lines = wrap(f"{name}: sound. {k.appliance.title}, {k.appliance.calls}.")
    lines += ["", *wrap(", ".join(f"{count:,} {thing}" for thing, count in size.items()) + ".", "Size: ")]
    lines += wrap(f"combinations of faults with {share} of the calls are left out of the odds.", "Left out: ")
    table = report.largest
    parents = ", ".join(table.parents) or "none"
    lines += wrap(f"{table.node}, {table.values.size:,} cells (parents: {parents}).", "Largest table: ")
    lines += wrap(f"{nodes} nodes, {edges} edges; pgmpy's check passed.", "Network: ")
    return [*lines, "", *_group_lines(k, report), "", *_reach_lines(k, report)]


def _group_lines(k: Knowledge, report: SelfCheck) -> Iterator[str]:
    from faultodds_cli.show import wrap

    if not report.groups:
        yield from wrap("Every pair of faults is told apart by some symptom or check.")
        return
    yield from wrap("Faults that no symptom or check tells apart (only shares and intake facts do):")
    for group in report.groups:
        yield from wrap("; ".join(k.title_of(m) for m in group.modes), "  - ")
        cure = " or ".join(group.repairs)
        same = (
            f"the same repair fixes them ({cure}), so it does not matter."
            if cure
            else "add a check if it matters."
        )
        yield from wrap(same, "    ")


def _reach_lines(k: Knowledge, report: SelfCheck) -> Iterator[str]:
    from faultodds_cli.show import wrap

    if not report.unreached:
        yield from wrap("Every fault can be reached by some check.")
        return
    yield from wrap("Faults that no check can reach:")
    for mode in report.unreached:
        how = "no symptom shows it either" if mode in report.unseen else "symptoms show it"
        yield from wrap(f"{k.title_of(mode)} [{mode}]: {how}.", "  - ")


@app.command("export")
def export_command(
    name: NameArgument = DEFAULT_APPLIANCE,
    to: Annotated[Form, typer.Option("--to", help="Network file format.")] = Form.bif,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Where to write it; here, under its own name, if not given."
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Write the network behind an appliance for other Bayesian-network programs."""
    from faultodds.knowledge import load

    k = load(name)
    path = out or Path(f"{k.appliance.id}.{to.value}")
    if path.is_dir():
        raise FaultoddsError(
            f"'{path}' is a folder. Give a file, for example --out {path / k.appliance.id}.{to.value}."
        )
    if path.exists() and not force:
        raise FaultoddsError(
            f"'{path}' is there already. Add --force to write over it, or give another --out FILE."
        )
    from faultodds.network import export

    try:
        export(k, path, to.value)
    except OSError as error:
        raise FaultoddsError(
            f"'{path}' cannot be written ({error.strerror or error}). Give another --out FILE."
        ) from None
    if as_json:
        say_json({"appliance": k.appliance.id, "form": to.value, "file": str(path)})
    else:
        say(f"Wrote {path} ({path.stat().st_size:,} bytes).")
