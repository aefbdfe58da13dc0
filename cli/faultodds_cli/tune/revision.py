"""`faultodds revision`: learned priors looked at, held against each other, accepted and taken back."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds.names import capital
from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.show_known import numbers_called, outdated_lines
from faultodds_cli.shared.text import width, wrap
from faultodds_cli.tune.options import AboutOption, TopOption, appliance_again, asked, kind_named

if TYPE_CHECKING:
    from collections.abc import Sequence

    from faultodds.belief import Appliance
    from faultodds.revisions import Revision, Told, Verdict

app = options.new_app("Learned priors: list them, look at them, accept one, go back.")
NOT_JUDGED = (
    "Not judged yet: nobody has held what this log teaches against what came next. 'faultodds audit LOG' does that."
)

IdArgument = Annotated[str, typer.Argument(metavar="ID", help="A revision, or as little of its id as tells it apart.")]


ByOption = Annotated[
    str | None,
    typer.Option("--by", metavar="NAME", help="Who decides; your login name if not given.", show_default=False),
]
WhyOption = Annotated[str, typer.Option("--why", metavar="TEXT", help="Why, kept with the decision.")]


def login_name() -> str:
    """Who is logged in; empty where the machine does not say."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""


@app.command("list")
def list_command(appliance: options.Appliance = options.DEFAULT_APPLIANCE, as_json: options.Json = False) -> None:
    """The revisions there are, and which one is in use.

    Newest first, with what was decided when.
    """
    from faultodds.revisions import accepted, doubt, history, remarks, shelved

    name = _file(appliance).knowledge.appliance.id
    found, decisions, stands, told = shelved(name), history(name), accepted(name), remarks(name)
    if as_json:
        decided = [{part: getattr(d, part) for part in ("at", "action", "revision", "by", "why")} for d in decisions]
        listed = [_listed(each, told.get(each.id)) for each in found]
        say_json({"appliance": name, "accepted": stands, "revisions": listed, "history": decided})
    elif found or decisions:
        say(
            [f"REVISIONS of {name}, newest first", *(line for each in found for line in _line(each, told.get(each.id)))]
        )
        say(
            [
                "",
                *wrap(f"In use: {numbers_called(stands)}."),
                *wrap(doubt(name, appliance_again(name, appliance))),
                *outdated_lines(name),
                *_decided_lines(decisions),
            ]
        )
    else:
        own = "the knowledge file's own numbers are in use"
        say(wrap(f"No revision of {name} yet: {own}. Learn one: faultodds tune LOG"))


def _decided_lines(decisions: Sequence[Any]) -> list[str]:
    if not decisions:
        return []
    return ["", "DECIDED", *(line for d in decisions for line in wrap(_decided(d), "  ", "    "))]


def _decided(d: Any) -> str:
    done = {"accept": "accepted", "rollback": "rolled back", "drop": "dropped"}
    if d.action not in done:
        return f"damaged, not known what it said: {d.revision}"
    who, why = f", by {d.by}" if d.by else "", f": {d.why}" if d.why else ""
    return f"{d.at[:16].replace('T', ' ')} UTC {done[d.action]} {d.revision}{who}{why}"


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
        bool,
        typer.Option(
            "--anyway",
            help="Even though its numbers forecast worse than those in use, nobody can tell, the repairs contradict "
            "them, or the log or the knowledge file has changed since.",
        ),
    ] = False,
    by: ByOption = None,
    why: WhyOption = "",
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Use a revision from now on, in every command.

    What contradicts it and what an audit found of it is shown first. You are asked where something contradicts it, it forecasts
    worse than what is in use, nobody has held it against what came next or can tell, or its log was corrected since. Who accepted
    and why is kept. The knowledge file stays as it is.
    """
    from faultodds.revisions import FILE, accept, accepted, find_id, get, remarks

    ready = _file(appliance)
    name = ready.knowledge.appliance.id
    chosen = find_id(name, revision, or_file=True)
    told = remarks(name).get(chosen)
    verdict = told.verdict if told else None
    if chosen not in (FILE, accepted(name)):
        why = _agreed(get(name, chosen), verdict, accepted(name), anyway, why, as_json)
    now, before = accept(name, chosen, ready.fingerprint, anyway=anyway, by=login_name() if by is None else by, why=why)
    if as_json:
        say_json(
            {
                "appliance": name,
                "accepted": now,
                "before": before,
                "verdict": asdict(verdict) if verdict else {"known": False, "words": NOT_JUDGED},
            }
        )
        return
    say(wrap(f"In use from now on: {numbers_called(now)} (before: {numbers_called(before)})."))
    say("To go back: faultodds revision rollback" + appliance_again(name, appliance))


def _agreed(revision: Revision, verdict: Verdict | None, in_use: str, anyway: bool, why: str, as_json: bool) -> str:
    """Show what contradicts a revision and the verdict on it and, where there is a doubt, ask; why it is accepted. FaultoddsError
    when nobody agrees."""
    from faultodds.errors import FaultoddsError
    from faultodds.tuning import changed_since
    from faultodds_cli.shared.show_contradictions import contradiction_lines

    changed = changed_since(revision.log)
    if not as_json:
        say(
            [
                *contradiction_lines(revision),
                *_verdict_lines(verdict, in_use),
                *wrap(f"{capital(changed)}." if changed else ""),
            ]
        )
    doubt = "; and ".join(filter(None, (_doubt(revision, verdict, in_use), changed)))
    if anyway or not doubt:
        return why
    if as_json or not sys.stdin.isatty():
        raise FaultoddsError(
            f"{doubt}, so it was not accepted. To use it all the same: "
            f'faultodds revision accept {revision.id} --anyway --why "..."'
        )
    if not typer.confirm(f"{capital(doubt)}. Use it all the same?", default=False):
        raise FaultoddsError("nothing was accepted.")
    return why or str(typer.prompt("Why", default="", show_default=False))


def _doubt(revision: Revision, verdict: Verdict | None, in_use: str) -> str:
    """What speaks against accepting a revision; empty when nothing does."""
    base = numbers_called(verdict.base if verdict else in_use)
    if verdict is not None and verdict.known and verdict.worse:
        return f"revision {revision.id} forecasts worse than {base}"
    if revision.contradictions:
        return f"the repairs contradict what revision {revision.id} learned"
    if verdict is None or not verdict.known:
        return f"nobody can tell yet whether revision {revision.id} forecasts better than {base}"
    return ""


def _verdict_lines(verdict: Verdict | None, in_use: str) -> list[str]:
    """What an audit found, or that there was none."""
    if verdict is None:
        return wrap(NOT_JUDGED)
    if not verdict.known:
        return wrap(f"On {verdict.day}: {verdict.words}")
    other = f" Not yet held against what is in use now, {numbers_called(in_use)}." if verdict.base != in_use else ""
    return wrap(f"Held against {numbers_called(verdict.base)} on {verdict.day}. {verdict.words}{other}")


@app.command("name")
def name_command(
    revision: IdArgument,
    name: Annotated[str, typer.Argument(metavar="NAME", help="Small letters, digits and _, such as winter_2025.")],
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Give a revision a name, by which every command then finds it as well."""
    from faultodds.revisions import rename

    found = rename(_id(appliance), revision, name)
    say_json({"revision": found, "name": name}) if as_json else say(f"Revision {found} is called {name} from now on.")


@app.command("drop")
def drop_command(
    revision: IdArgument,
    by: ByOption = None,
    why: WhyOption = "",
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Delete a revision that is not in use, for good. Its id is never given to another."""
    from faultodds.revisions import drop

    found = drop(_id(appliance), revision, by=login_name() if by is None else by, why=why)
    say_json({"dropped": found}) if as_json else say(f"Dropped {found}. Its id is not given again.")


@app.command("rollback")
def rollback_command(
    by: ByOption = None,
    why: WhyOption = "",
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    as_json: options.Json = False,
) -> None:
    """Go back to what was accepted before. Nothing is deleted; every decision stays in the list, with who and why."""
    from faultodds.revisions import FILE, rollback

    name = _id(appliance)
    left, now = rollback(name, by=login_name() if by is None else by, why=why)
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


def _listed(each: Any, told: Told | None) -> dict[str, Any]:
    from faultodds_cli.tune.show import header_answer

    beside = {"name": told.name if told else "", "verdict": asdict(told.verdict) if told and told.verdict else None}
    if each.revision is None:
        return {"revision": each.id, "status": each.status, "problem": each.problem, **beside}
    return {**header_answer(each.revision, each.status), **beside}


def _line(each: Any, told: Told | None) -> list[str]:
    from faultodds_cli.tune.show import settings_words, source_words

    what = each.problem if each.revision is None else source_words(each.revision.log)
    mark = "*" if each.status == "accepted" else " "
    called = f" '{told.name}'" if told and told.name else ""
    lines = wrap(f"{each.id}{called}  {each.status}: {what}", f"{mark} ", "    ")
    if each.revision is not None:
        lines += wrap(f"Settings: {settings_words(each.revision)}.", "    ", "      ")
        lines += ["      " + part for part in _judged(told.verdict if told else None)]
    return lines


def _judged(verdict: Verdict | None) -> list[str]:
    if verdict is None:
        return []
    if not verdict.known:
        return wrap(f"On {verdict.day} nobody could tell whether it forecast better.", room=width() - 6)
    how = "worse than" if verdict.worse else "no worse than"
    return wrap(f"On {verdict.day} it forecast {how} {numbers_called(verdict.base)}.", room=width() - 6)
