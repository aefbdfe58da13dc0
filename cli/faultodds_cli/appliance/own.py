"""Knowledge files of a shop's own, kept with the program: `appliance add`, `remove`, and all there are."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds.errors import FaultoddsError, KnowledgeError, UnknownName, unknown
from faultodds_cli.shared import options
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance

_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,59}")


def sound(name: str) -> Appliance:
    """A knowledge file, compiled; KnowledgeError with all that is wrong with it, the ways of working on the machine too."""
    from faultodds.advice import unsafe_ways
    from faultodds.belief import compiled
    from faultodds.knowledge import load

    appliance = compiled(load(name))
    unsafe = list(unsafe_ways(appliance.knowledge))
    if unsafe:
        raise KnowledgeError.all_of(name, unsafe)
    return appliance


def every() -> list[dict[str, Any]]:
    """Every appliance that can be named, the shipped ones first."""
    from faultodds.files import added, find, id_in, read_bytes, shipped
    from faultodds.knowledge import load

    found = []
    own = added()
    for name in [*shipped(), *own]:
        path = own.get(name) or find(name)
        each = {
            "name": name,
            "id": "",
            "title": "",
            "calls": "",
            "yours": name in own,
            "file": str(path),
            "problem": "",
        }
        try:
            each["usual"] = find() == path
        except FaultoddsError:
            each["usual"] = False
        try:
            each["id"] = id_in(read_bytes(path))
            head = load(str(path)).appliance
            each |= {"title": head.title, "calls": head.calls}
        except KnowledgeError as error:
            each["problem"] = f"cannot be used: {error.problems[0] if error.problems else error}"
        found.append(each)
    return found


def add(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A knowledge file; a copy of it is kept.")],
    name: Annotated[
        str | None, typer.Option("--name", metavar="NAME", help="What to type for it; the file's name if not given.")
    ] = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Check a knowledge file of your own and keep a copy with the program, to be used by its name.

    Example: faultodds appliance add my_dryer.toml
    """
    from faultodds.files import ADDED_FOLDER, added, data_folder, own_folder, shipped, written_whole

    called = (name or file.stem).strip().casefold().replace(" ", "_")
    if not _NAME.fullmatch(called):
        raise FaultoddsError(f"'{called}' is no name to type: letters a to z, digits, - and _. Give one with --name.")
    if called in shipped():
        raise FaultoddsError(
            f"'{called}' is the name of a shipped appliance. Give yours another with --name my_{called}."
        )
    if called in added() and not force:
        raise FaultoddsError(
            f"there is one of yours called '{called}' already: {added()[called]}. Give another name with --name, or add --force "
            "to put this one in its place."
        )
    ready = sound(str(file))
    k = ready.knowledge
    same = [each["name"] for each in every() if each["id"] == k.appliance.id and each["name"] != called]
    path = data_folder() / ADDED_FOLDER / f"{called}.toml"
    try:
        own_folder(path.parent)
        with written_whole(path) as beside:
            beside.write_bytes(file.expanduser().read_bytes())
    except OSError as error:
        raise FaultoddsError(f"{path} cannot be written ({error.strerror or error}); nothing was added.") from None
    if as_json:
        say_json({"name": called, "id": k.appliance.id, "file": str(path), "same_id": same})
        return
    say(
        wrap(
            f"Added: {called}, {k.appliance.title}. Use it with --appliance {called}. To have it meant when none is named, set "
            f'FAULTODDS_APPLIANCE={called}, or write appliance = "{called}" under [shop] in your shop file.'
        )
    )
    say(wrap(f"The copy to change is {path}; after that: faultodds appliance check {called}"))
    if same:
        say(
            wrap(
                f"Its id, {k.appliance.id}, is that of {', '.join(same)} too: a name picks the file, and learned numbers go by "
                "the id. For numbers of its own change the id under [appliance]."
            )
        )


def remove(
    name: Annotated[str, typer.Argument(metavar="NAME", help="One of your own, by its name.")],
    force: Annotated[bool, typer.Option("--force", help="Although an open job stands on it.")] = False,
    as_json: options.Json = False,
) -> None:
    """Take away a copy that was added; where an open job stands on it, that is asked about. Such jobs go on once a file of the
    same content is named or added again."""
    from faultodds.files import added, shipped

    own = added()
    if name not in own:
        if name in shipped():
            raise UnknownName(f"'{name}' came with the program and stays. Yours: {', '.join(own) or 'none'}.")
        raise unknown("appliance of your own", name, own, "Type 'faultodds appliance list' to see them.")
    standing = _open_jobs_on(own[name])
    if standing and not force and not _agreed(name, standing, as_json):
        return
    try:
        own[name].unlink()
    except OSError as error:
        raise FaultoddsError(f"{own[name]} could not be deleted ({error.strerror or error}).") from None
    if as_json:
        say_json({"removed": name, "file": str(own[name])})
    else:
        say(f"Removed: {own[name]}")


def _open_jobs_on(file: Path) -> list[str]:
    """The open jobs that could not go on without a file: no other that can be named has its content."""
    from faultodds.files import added, fingerprint, read_bytes
    from faultodds.job import store_path
    from faultodds_cli.shared.jobs import opened_store

    content = {path: fingerprint(read_bytes(path)) for path in added().values()}
    if not store_path().exists() or list(content.values()).count(content[file]) > 1:
        return []
    with opened_store(None) as store:
        return [job.id for job in store.list("open") if job.fingerprint == content[file]]


def _agreed(name: str, jobs: list[str], as_json: bool) -> bool:
    """Ask whether to take away what open jobs stand on; raises FaultoddsError with nobody to ask."""
    listed = ", ".join(jobs[:10]) + (" ..." if len(jobs) > 10 else "")
    what = f"open job{'' if len(jobs) == 1 else 's'} {listed} stand{'s' if len(jobs) == 1 else ''} on '{name}'"
    if as_json or not sys.stdin.isatty():
        raise FaultoddsError(
            f"{what} and cannot go on without it; nothing was removed. Close the job first, or type: "
            f"faultodds appliance remove {name} --force"
        )
    say(f"{what[0].upper()}{what[1:]} and cannot go on without it.")
    if typer.confirm("Take it away all the same?", default=False):
        return True
    say("Nothing was removed.")
    return False
