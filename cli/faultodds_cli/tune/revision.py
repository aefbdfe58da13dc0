"""`faultodds revision`: learned priors looked at, held against each other, accepted and taken back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds_cli.shared.options import DEFAULT_APPLIANCE, ApplianceOption, JsonOption, new_app, say, say_json
from faultodds_cli.tune.options import AboutOption, FigureOption, TopOption, check_figure, kind_named

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.revisions import Revision

app = new_app("Learned priors: list them, look at them, accept one, go back.")

IdArgument = Annotated[str, typer.Argument(metavar="ID", help="A revision, or as little of its id as tells it apart.")]


@app.command("list")
def list_command(appliance: ApplianceOption = DEFAULT_APPLIANCE, as_json: JsonOption = False) -> None:
    """The revisions there are, and which one is in use.

    Newest first, with what was decided when.
    """
    from faultodds.revisions import FILE, accepted, history, shelved

    ready = _file(appliance)
    name = ready.knowledge.appliance.id
    found, decisions, stands = shelved(name), history(name), accepted(name)
    if as_json:
        say_json(
            {
                "appliance": name,
                "accepted": stands,
                "revisions": [_listed(each) for each in found],
                "history": [{"at": d.at, "action": d.action, "revision": d.revision} for d in decisions],
            }
        )
        return
    from faultodds_cli.shared.text import wrap

    if not found:
        say(
            wrap(
                f"No revision of {name} yet: the knowledge file's own numbers are in use. Learn one: faultodds tune LOG"
            )
        )
        return
    say(f"REVISIONS of {name}, newest first")
    for each in found:
        say(_line(each))
    using = "the knowledge file's own numbers" if stands == FILE else f"revision {stands}"
    say(["", *wrap(f"In use: {using}.")])
    if decisions:
        say(
            [
                "",
                "DECIDED",
                *(f"  {d.at[:16].replace('T', ' ')} UTC  {_DONE[d.action]} {d.revision}" for d in decisions),
            ]
        )


_DONE = {"accept": "accepted", "rollback": "rolled back"}


@app.command("show")
def show_command(
    revision: IdArgument,
    about: AboutOption = "causes",
    top: TopOption = 15,
    figure: FigureOption = None,
    appliance: ApplianceOption = DEFAULT_APPLIANCE,
    as_json: JsonOption = False,
) -> None:
    """Where a revision comes from, and its numbers.

    Examples: faultodds revision show 2026-11-25-a / faultodds revision show a --about checks
    """
    from faultodds.revisions import get
    from faultodds_cli.tune import show as tune_show

    kind = kind_named(about)
    check_figure(figure)
    ready = _file(appliance)
    k = ready.knowledge
    found = get(k.appliance.id, revision)
    drawn = "" if figure is None else tune_show.draw(k, found, kind, figure)
    if as_json:
        say_json(tune_show.revision_answer(k, found, _status(found)))
        return
    from faultodds_cli.shared.text import paragraphs, wrap

    blocks = tune_show.revision_lines(k, found, kind, top)
    blocks[0] += wrap(f"Status: {_status(found)}.{_file_changed(ready, found)}", "  ")
    say(paragraphs([*blocks, wrap(drawn) if drawn else []]))


@app.command("diff")
def diff_command(
    revision: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="A revision; the newest if not given.", show_default=False)
    ] = None,
    other: Annotated[
        str | None,
        typer.Argument(
            metavar="[OTHER]", help="Against this one, or 'file'; the one in use if not given.", show_default=False
        ),
    ] = None,
    about: AboutOption = "causes",
    top: TopOption = 15,
    appliance: ApplianceOption = DEFAULT_APPLIANCE,
    as_json: JsonOption = False,
) -> None:
    """What a revision would change.

    Its numbers beside those of another, or of the knowledge file.

    Examples: faultodds revision diff / faultodds revision diff b file / faultodds revision diff b a --about checks
    """
    from faultodds.revisions import differences
    from faultodds_cli.tune import show as tune_show

    kind = kind_named(about)
    k = _file(appliance).knowledge
    one, two = _pair(k.appliance.id, revision, other)
    found = differences(one.numbers if one else {}, two.numbers if two else None)
    names = (one.id if one else "file", two.id if two else "file")
    if as_json:
        rows = [{"path": d.path, "one": d.one, "other": d.other, "low": d.low, "high": d.high} for d in found]
        say_json({"appliance": k.appliance.id, "one": names[0], "other": names[1], "differences": rows})
        return
    say(tune_show.difference_lines(k, found, names, kind, top))


@app.command("accept")
def accept_command(
    revision: Annotated[str, typer.Argument(metavar="ID|file", help="A revision, or file for the file's own numbers.")],
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Even though the knowledge file has changed since it was learned.")
    ] = False,
    appliance: ApplianceOption = DEFAULT_APPLIANCE,
    as_json: JsonOption = False,
) -> None:
    """Use a revision from now on, in every command.

    The knowledge file stays as it is.
    """
    from faultodds.revisions import accept

    ready = _file(appliance)
    name = ready.knowledge.appliance.id
    now, before = accept(name, revision, ready.fingerprint, anyway=anyway)
    if as_json:
        say_json({"appliance": name, "accepted": now, "before": before})
        return
    from faultodds_cli.shared.text import wrap

    say(wrap(f"In use from now on: {_called(now)} (before: {_called(before)})."))
    say("To go back: faultodds revision rollback" + _more(name, appliance))


@app.command("rollback")
def rollback_command(appliance: ApplianceOption = DEFAULT_APPLIANCE, as_json: JsonOption = False) -> None:
    """Go back to what was accepted before. Nothing is deleted; every decision stays in the list."""
    from faultodds.revisions import FILE, rollback

    name = _id(appliance)
    left, now = rollback(name)
    if as_json:
        say_json({"appliance": name, "accepted": now, "rolled_back": left})
        return
    from faultodds_cli.shared.text import wrap

    say(wrap(f"Rolled back {_called(left)}. In use from now on: {_called(now)}."))
    if left != FILE:
        say(f"It is kept; to use it again: faultodds revision accept {left}" + _more(name, appliance))


def _file(appliance: str) -> Appliance:
    """The knowledge file itself, with no revision over it."""
    from faultodds.belief import open_appliance

    return open_appliance(appliance, revision="file")


def _id(appliance: str) -> str:
    """The id in a knowledge file: going back must work whatever state the rest is in."""
    from faultodds.belief import appliance_id
    from faultodds.files import find, read_bytes

    return appliance_id(read_bytes(find(appliance)))


def _pair(appliance: str, one: str | None, other: str | None) -> tuple[Revision | None, Revision | None]:
    """The two to hold against each other; None stands for the file."""
    from faultodds.revisions import FILE, accepted, find_id, get, newest

    first = find_id(appliance, one, or_file=True) if one else newest(appliance)
    second = find_id(appliance, other, or_file=True) if other else accepted(appliance)
    if other is None and second == first:
        second = FILE
    named = [None if name == FILE else get(appliance, name) for name in (first, second)]
    return named[0], named[1]


def _status(revision: Revision) -> str:
    from faultodds.revisions import shelved

    return next(each.status for each in shelved(revision.appliance) if each.id == revision.id)


def _file_changed(ready: Appliance, revision: Revision) -> str:
    return "" if ready.fingerprint == revision.fingerprint else " The knowledge file has changed since it was learned."


def _listed(each: Any) -> dict[str, Any]:
    from faultodds_cli.tune.show import header_answer

    if each.revision is None:
        return {"revision": each.id, "status": each.status, "problem": each.problem}
    return header_answer(each.revision, each.status)


def _line(each: Any) -> list[str]:
    from faultodds_cli.shared.text import wrap
    from faultodds_cli.tune.show import source_words

    told = each.problem if each.revision is None else source_words(each.revision.log)
    mark = "*" if each.status == "accepted" else " "
    return wrap(f"{each.id}  {each.status}: {told}", f"{mark} ", "    ")


def _called(name: str) -> str:
    return "the knowledge file's own numbers" if name == "file" else f"revision {name}"


def _more(name: str, appliance: str) -> str:
    return "" if appliance == name else f" --appliance {appliance}"
