"""`appliance`: what there is, what a knowledge file says, whether it is sound, its network as a file; files of one's own."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from faultodds.errors import FaultoddsError, KnowledgeError
from faultodds.files import find, refuse_taken
from faultodds_cli.appliance import own
from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import wrap

app = options.new_app("Knowledge files: list, show, check, add, remove, export.")
app.command("add")(own.add)
app.command("remove")(own.remove)

NameArgument = Annotated[
    str,
    typer.Argument(
        metavar="[NAME|FILE]", help="A shipped appliance, one of your own, or a knowledge file.", show_default=False
    ),
]


class Form(StrEnum):
    """File formats of a network."""

    bif = "bif"
    xmlbif = "xmlbif"


@app.command("list")
def list_command(as_json: options.Json = False) -> None:
    """The appliances that come with the program, and your own."""
    found = own.every()
    if as_json:
        say_json({"appliances": found})
        return
    for each in found:
        whose = f" Yours: {each['file']}." if each["yours"] else ""
        usual = " Used when none is named." if each["usual"] else ""
        said = each["problem"] or f"{each['title']}: {each['calls']} [{each['id']}]."
        say(wrap(f"{said}{whose}{usual}", f"{each['name']}  ", "    "))
    try:
        find()
    except FaultoddsError as error:
        say(wrap(f"None is the usual one: {error}"))
    say(
        wrap(
            "A file of your own is used by its path (--appliance my_dryer.toml), or by name after: faultodds appliance add FILE"
        )
    )


@app.command("show")
def show_command(
    name: NameArgument = options.DEFAULT_APPLIANCE,
    what: Annotated[
        str | None,
        typer.Argument(metavar="[WHAT]", help="faults, symptoms, checks, repairs, facts, access, stops, or one name."),
    ] = None,
    as_json: options.Json = False,
) -> None:
    """Every name that can be typed: faults with their shares, symptoms, checks, repairs, facts ...

    Examples: faultodds appliance show gas_dryer checks / faultodds appliance show gas_dryer coils.drop_out_hot
    """
    from faultodds.knowledge import load
    from faultodds_cli.appliance import show as pages

    k = load(name)
    mode = pages.fault_in(k, what) if what else ""
    if mode:
        from faultodds.belief import open_appliance
        from faultodds.cards import card
        from faultodds_cli.shared.show_fault import card_answer, card_lines
        from faultodds_cli.shared.show_known import revision_lines

        appliance = open_appliance(name)
        it = card(appliance, mode)
        if as_json:
            say_json(card_answer(it))
        else:
            say([*card_lines(k, it), *revision_lines(appliance)])
    elif as_json:
        say_json(pages.names_answer(k))
    elif what is None:
        lists = pages.sections(k)
        say(pages.title_lines(k))
        for heading in lists:
            say(["", *lists[heading]])
    else:
        say(pages.page(k, what))


@app.command("check")
def check_command(
    name: Annotated[str, typer.Argument(metavar="FILE|NAME", help="A knowledge file, or a shipped appliance.")],
    as_json: options.Json = False,
) -> None:
    """Validate a knowledge file and print all that is wrong with it, or what it says about itself."""
    from faultodds.belief import accepted_by_pgmpy, self_check
    from faultodds_cli.appliance.show import check_answer, check_lines

    try:
        appliance = own.sound(name)
    except KnowledgeError as error:
        if not as_json:
            raise
        say_json({"file": name, "sound": False, "problems": list(error.problems) or [str(error)]})
        raise typer.Exit(error.exit_code) from None
    report = self_check(appliance)
    nodes, edges = accepted_by_pgmpy(appliance)
    if as_json:
        say_json(check_answer(appliance, report, nodes, edges))
    else:
        say(check_lines(name, appliance, report, nodes, edges))


@app.command("export")
def export_command(
    name: NameArgument = options.DEFAULT_APPLIANCE,
    to: Annotated[Form, typer.Option("--to", help="Network file format.")] = Form.bif,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Where to write it; here, under its own name, if not given."),
    ] = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Write the network behind an appliance for other Bayesian-network programs."""
    from faultodds.knowledge import load

    k = load(name)
    path = out or Path(f"{k.appliance.id}.{to.value}")
    refuse_taken(path, "--out", f"{k.appliance.id}.{to.value}", force=force)
    from faultodds.knowledge import export

    export(k, path, to.value)
    if as_json:
        say_json({"appliance": k.appliance.id, "form": to.value, "file": str(path)})
    else:
        say(f"Wrote {path} ({path.stat().st_size:,} bytes).")
