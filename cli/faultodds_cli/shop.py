"""`faultodds shop`: the shop's own prices and minutes, in one file: made, checked, shown."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds.names import capital
from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.show_known import shop_lines
from faultodds_cli.shared.text import columns, paragraphs, row, wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.knowledge import Knowledge
    from faultodds.shop import Shop, ShopLine

app = options.new_app("Your shop's prices, minutes and technicians, in one file laid over the knowledge file.")

FileArgument = Annotated[
    str | None,
    typer.Argument(metavar="[FILE]", help="The shop file; the one in use if not given.", show_default=False),
]
_HEADS = {
    "costs": "COSTS",
    "parts": "PARTS",
    "minutes": "MINUTES, hands on",
    "access": "MINUTES to open and to put back",
}
# Now, and in the knowledge file.
_CELLS = (10, 10)


@app.command("new")
def new_command(
    file: Annotated[
        str | None,
        typer.Argument(metavar="[FILE]", help="Where; shop.toml in your data folder if not given.", show_default=False),
    ] = None,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Write a shop file to fill in, with every number of the appliance as a comment.

    Examples: faultodds shop new / faultodds shop new our_shop.toml
    """
    from faultodds.files import default_path
    from faultodds.knowledge import load
    from faultodds.shop import write_template

    path = default_path() if file is None else Path(file).expanduser()
    write_template(load(appliance), path)
    if as_json:
        say_json({"file": str(path)})
        return
    used = "It is used from now on." if file is None else f"Use it with --shop {file}, or set FAULTODDS_SHOP to it."
    named = "" if file is None else f" {file}"
    say(
        wrap(
            f"Wrote {path}. Nothing in it counts until you take a # away: put your own labour rate and prices there, then type "
            f"'faultodds shop check{named}'. {used}"
        )
    )


@app.command("from-log")
def from_log_command(
    log: Annotated[str, typer.Argument(metavar="LOG", help="An imported job log, by its name.")],
    file: Annotated[str, typer.Argument(metavar="FILE", help="Where the proposed shop file goes.")],
    force: options.Force = False,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    data: options.LogData = None,
    as_json: options.Json = False,
) -> None:
    """Propose a shop file from a job log: the hour's labour, parts, minutes, and each technician's pace and callbacks.

    Example: faultodds shop from-log harbour_lane proposed.toml
    """
    from dataclasses import asdict

    from faultodds.files import cannot_write, refuse_taken, written_whole
    from faultodds.joblog import find_log, read_clean
    from faultodds.knowledge import load
    from faultodds.tuning import shop_numbers, shop_text

    path, typed = Path(file).expanduser(), f"faultodds shop from-log {log}"
    refuse_taken(path, typed, "proposed.toml", force=force)
    knowledge = load(appliance)
    found = shop_numbers(read_clean(find_log(log, data)), knowledge)
    try:
        with written_whole(path) as beside:
            beside.write_text(shop_text(found, knowledge, log), encoding="utf-8")
    except OSError as error:
        raise cannot_write(path, typed, error) from None
    if as_json:
        say_json({"file": str(path), **asdict(found)})
        return
    said = path.read_text(encoding="utf-8").splitlines()
    say([*said, "", *wrap(f"Wrote {path}. Nothing uses it yet: look it over, type 'faultodds shop check {file}', then use it with "
                          f"--shop {file}.")])  # fmt: skip


@app.command("check")
def check_command(
    file: FileArgument = None, appliance: options.Appliance = options.DEFAULT_APPLIANCE, as_json: options.Json = False
) -> None:
    """Check a shop file: all that is wrong with it, or what it changes and which prices are still first guesses."""
    from faultodds.errors import ShopError
    from faultodds.shop import lines

    try:
        ready, found, path = _opened(file, appliance)
        rows = lines(ready, found, path)
    except ShopError as error:
        if not as_json or not error.problems:
            raise
        say_json({"file": file, "sound": False, "problems": list(error.problems)})
        raise typer.Exit(error.exit_code) from None
    if as_json:
        say_json({"file": str(path), "name": found.shop.name, **_counts(rows), "technicians": list(found.technician)})
        return
    say(_check_lines(ready, found, path, rows))


@app.command("show")
def show_command(
    file: FileArgument = None,
    technician: options.Technician = None,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Every price and minute in use, the shop's own marked with *; with --technician at that technician's pace."""
    from faultodds.shop import chosen_technician, lay_over, lines

    ready, found, path = _opened(file, appliance)
    who = chosen_technician(technician)
    laid = lay_over(ready, found, path, who)
    rows = lines(ready, found, path, who)
    if as_json:
        from faultodds.advice import shop_used

        say_json({**(shop_used(laid) or {}), "currency": laid.knowledge.costs.currency, "numbers": _as_data(rows)})
        return
    say(_show_lines(laid, found, rows, ready.knowledge.costs.currency))


def _opened(file: str | None, appliance: str) -> tuple[Appliance, Shop, Path]:
    """The appliance at the knowledge file's own prices, and the shop file with its path."""
    from faultodds.belief import open_appliance
    from faultodds.errors import ShopError
    from faultodds.files import SHOP_VARIABLE, default_path, find_shop, usual
    from faultodds.shop import read

    path = find_shop(file)
    if path is None:
        raise ShopError(
            f"there is no shop file: nothing at {default_path()}, and {SHOP_VARIABLE} names none. "
            "Type 'faultodds shop new' to make one."
        )
    try:
        ready = open_appliance(appliance or usual(file))
    except ShopError:  # it says no usual appliance that can be read: with that, all else that is wrong with it
        read(path)
        raise
    return ready, read(path, ready.knowledge), path


def _counts(rows: list[ShopLine]) -> dict[str, dict[str, int]]:
    """How many numbers of each kind are the shop's, of how many; parts count only where there is a price."""
    out = {}
    for group in _HEADS:
        these = [r for r in rows if r.group == group and (group != "parts" or r.own or r.file)]
        out[group] = {"own": sum(r.own for r in these), "of": len(these)}
    return out


def _as_data(rows: list[ShopLine]) -> list[dict[str, Any]]:
    return [{"group": r.group, "name": r.name, "value": r.value, "knowledge_file": r.file, "own": r.own} for r in rows]


def _check_lines(ready: Appliance, found: Shop, path: Path, rows: list[ShopLine]) -> list[str]:
    k, counts = ready.knowledge, _counts(rows)
    out = wrap(f"{path}: sound. {_whose(found)}, for {k.appliance.title}.")
    for group, head in _HEADS.items():
        out += wrap(f"{counts[group]['own']} of {counts[group]['of']} are yours", f"  {head}: ")
    guesses = [r.name for r in rows if r.group in ("costs", "parts") and not r.own and r.file]
    if guesses:
        shown = ", ".join(guesses[:8]) + (f" and {len(guesses) - 8} more" if len(guesses) > 8 else "")
        out += wrap(f"Still the knowledge file's first guesses: {shown}.", "  ")
    for name, who in found.technician.items():
        about = _about(who.pace, who.qualified, len(who.minutes), who.name)
        tools = "" if who.tools is None else f"; carries {', '.join(who.tools) or 'no tools that not everybody has'}"
        out += wrap(f"{name}: {about}{tools}.", "  Technician ")
    if not found.technician:
        out += wrap("No technicians: everybody works in the minutes above.", "  ")
    return out


def _about(pace: float, qualified: bool, own: int, name: str) -> str:
    said = [f"{name}," if name else "", f"{pace:g} times the minutes"]
    said.append(f"with {own} of their own" if own else "")
    return " ".join(w for w in said if w) + ("" if qualified else "; no energised or gas-pressure work")


def _show_lines(laid: Appliance, found: Shop, rows: list[ShopLine], theirs: str) -> list[str]:
    """Every number; where the shop's currency is not the knowledge file's (`theirs`), the heads of the amounts say so."""
    blocks = [[_whose(found)]]
    for group, head in _HEADS.items():
        these = [r for r in rows if r.group == group and (group != "parts" or r.value or r.own)]
        ours = laid.knowledge.costs.currency
        if group in ("costs", "parts") and ours != theirs:
            head = f"{head}, now in {ours}, file in {theirs}"
        told = [line for r in these for line in _row(laid.knowledge, r)]
        blocks.append([*columns(head, ("now", "file"), _CELLS), *told])
    return paragraphs([*blocks, ["* yours; the rest is the knowledge file's first guess."], shop_lines(laid)])


def _whose(found: Shop) -> str:
    return found.shop.name or "A shop without a name"


def _row(k: Knowledge, r: ShopLine) -> list[str]:
    """One number, the knowledge file's beside it."""
    form = ",.2f" if r.group in ("costs", "parts") else ".4g"
    title = f"{r.name}: {capital(r.title)}" if r.title else r.name
    return row(f"  {'*' if r.own else ' '} ", "      ", title, (f"{r.value:{form}}", f"{r.file:{form}}"), _CELLS)
