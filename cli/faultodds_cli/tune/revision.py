"""`faultodds revision`: learned priors looked at, held against each other, accepted and taken back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.show_known import numbers_called
from faultodds_cli.shared.text import wrap
from faultodds_cli.tune.options import AboutOption, TopOption, appliance_again, asked, kind_named

if TYPE_CHECKING:
    from collections.abc import Sequence

    from faultodds.belief import Appliance
    from faultodds.revisions import Revision

app = options.new_app("Learned priors: list them, look at them, accept one, go back.")

IdArgument = Annotated[str, typer.Argument(metavar="ID", help="A revision, or as little of its id as tells it apart.")]


@app.command("list")
def list_command(appliance: options.Appliance = options.DEFAULT_APPLIANCE, as_json: options.Json = False) -> None:
    """The revisions there are, and which one is in use.

    Newest first, with what was decided when.
    """
    from faultodds.revisions import accepted, doubt, history, shelved

    name = _file(appliance).knowledge.appliance.id
    found, decisions, stands = shelved(name), history(name), accepted(name)
    if as_json:
        decided = [{"at": d.at, "action": d.action, "revision": d.revision} for d in decisions]
        listed = [_listed(each) for each in found]
        say_json({"appliance": name, "accepted": stands, "revisions": listed, "history": decided})
    elif found or decisions:
        say([f"REVISIONS of {name}, newest first", *(line for each in found for line in _line(each))])
        say(
            [
                "",
                *wrap(f"In use: {numbers_called(stands)}."),
                *wrap(doubt(name, appliance_again(name, appliance))),
                *_decided_lines(decisions),
            ]
        )
    else:
        own = "the knowledge file's own numbers are in use"
        say(wrap(f"No revision of {name} yet: {own}. Learn one: faultodds tune LOG"))


def _decided_lines(decisions: Sequence[Any]) -> list[str]:
    if not decisions:
        return []
    done = {"accept": "accepted", "rollback": "rolled back"}
    return [
        "",
        "DECIDED",
        *(
            f"  {d.at[:16].replace('T', ' ')} UTC  {done[d.action]} {d.revision}"
            if d.action in done
            else f"  damaged, not known what it said: {d.revision}"
            for d in decisions
        ),
    ]


@app.command("show")
def show_command(
    revision: IdArgument,
    about: AboutOption = "causes",
    top: TopOption = 15,
    figure: options.Figure = None,
    force: options.Force = False,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Where a revision comes from, and its numbers.

    Examples: faultodds revision show 2026-11-25-a / faultodds revision show a --about checks
    """
    from faultodds.revisions import get
    from faultodds_cli.tune.show import say_revision

    wanted = asked(about, top, figure, force, as_json)
    ready = _file(appliance)
    found = get(ready.knowledge.appliance.id, revision)
    status = _status(found)
    say_revision(ready.knowledge, found, status, wanted, wrap(f"Status: {status}.{_file_changed(ready, found)}", "  "))


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
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
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
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
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
    say(wrap(f"In use from now on: {numbers_called(now)} (before: {numbers_called(before)})."))
    say("To go back: faultodds revision rollback" + appliance_again(name, appliance))


@app.command("rollback")
def rollback_command(appliance: options.Appliance = options.DEFAULT_APPLIANCE, as_json: options.Json = False) -> None:
    """Go back to what was accepted before. Nothing is deleted; every decision stays in the list."""
    from faultodds.revisions import FILE, rollback

    name = _id(appliance)
    left, now = rollback(name)
    if as_json:
        say_json({"appliance": name, "accepted": now, "rolled_back": left})
        return
    say(wrap(f"Rolled back {numbers_called(left)}. In use from now on: {numbers_called(now)}."))
    if left != FILE:
        say(f"It is kept; to use it again: faultodds revision accept {left}" + appliance_again(name, appliance))


def _file(appliance: str) -> Appliance:
    """The knowledge file itself, with no revision over it."""
    from faultodds.belief import open_appliance

    return open_appliance(appliance, revision="file")


def _id(appliance: str) -> str:
    """The id in a knowledge file: going back must work whatever state the rest is in."""
    from faultodds.files import find, id_in, read_bytes

    return id_in(read_bytes(find(appliance)))


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
    from faultodds_cli.tune.show import source_words

    told = each.problem if each.revision is None else source_words(each.revision.log)
    mark = "*" if each.status == "accepted" else " "
    return wrap(f"{each.id}  {each.status}: {told}", f"{mark} ", "    ")
