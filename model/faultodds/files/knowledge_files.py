"""Knowledge files on disk: the shipped ones and a shop's own by name, others by path; found and read, not yet understood.

A stop sign must be found even in a file that cannot be used, so nothing heavier than the standard library is needed here.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import shlex
from pathlib import Path
from typing import Final

from faultodds.errors import FaultoddsError, KnowledgeError, ShopError, nearest
from faultodds.files.folders import bytes_of, data_folder
from faultodds.files.shop_file import NO_SHOP, appliance_in, find_shop
from faultodds.files.toml_text import toml_tables

KNOWLEDGE_SUFFIX = ".toml"
SHIPPED_FOLDER = Path(__file__).parent.parent / "appliances"
APPLIANCE_VARIABLE: Final = "FAULTODDS_APPLIANCE"
USUAL: Final = "gas_dryer"
ADDED_FOLDER: Final = "appliances"

# The usual way to write it, found without reading the whole file; anything else is read as TOML.
_PLAIN_ID = re.compile(rb"^\[appliance\][^\[]*?^id *= *\"([^\"\\\r\n]+)\"", re.MULTILINE)


def shipped() -> list[str]:
    """Names of the appliances that come with the package, sorted."""
    return sorted(f.stem for f in SHIPPED_FOLDER.iterdir() if f.suffix == KNOWLEDGE_SUFFIX)


def added() -> dict[str, Path]:
    """A shop's own knowledge files in the data folder, by the name they were added under."""
    with contextlib.suppress(OSError):
        found = sorted((data_folder() / ADDED_FOLDER).glob(f"*{KNOWLEDGE_SUFFIX}"))
        return {path.stem: path for path in found if not path.name.startswith(".")}
    return {}


def find(name: str = "", shop: str | None = None) -> Path:
    """Path of a knowledge file: a shipped appliance or one of the shop's own by name, a path, or the id in a file of the shop's
    own. Without a name the one that `FAULTODDS_APPLIANCE` names, else the one that the shop file does (`shop`, as `find_shop`
    takes it; "none" is about prices alone), else the gas dryer.

    Raises KnowledgeError naming those there are when there is none, and when an id is that of two; ShopError where a shop file
    may name one and cannot be read.
    """
    name, told = (name, "") if name else _usual(shop)
    if name in shipped():
        return SHIPPED_FOLDER / (name + KNOWLEDGE_SUFFIX)
    own = added()
    path = own.get(name) or Path(name).expanduser()
    with contextlib.suppress(OSError, ValueError):
        if path.is_file():
            return path
    of_that_id = [each for each, place in own.items() if _id_at(place) == name]
    if len(of_that_id) == 1:
        return own[of_that_id[0]]
    if of_that_id:
        raise KnowledgeError(
            f"'{name}' is the id of {len(of_that_id)} files of yours: {', '.join(of_that_id)}. Type the name of one, for example "
            f"--appliance {of_that_id[0]}."
        )
    raise KnowledgeError(_not_found(name, [*own], f" ({told} names it)" if told else ""))


def _usual(shop: str | None) -> tuple[str, str]:
    """The one that is meant where none is named, and what says so."""
    if said := os.environ.get(APPLIANCE_VARIABLE, "").strip():
        return said, APPLIANCE_VARIABLE
    try:
        path = find_shop(None if shop == NO_SHOP else shop)
    except ShopError:
        # One that stands in the environment and is gone stops advice, never what is to be written down.
        if shop not in (None, NO_SHOP):
            raise
        path = None
    try:
        said = "" if path is None else appliance_in(path)
    except ShopError as error:
        raise ShopError(f"{error} Or name the appliance: --appliance {USUAL}.") from None
    return (said, f"{path}, [shop] appliance,") if said else (USUAL, "")


def usual(shop: str | None = None) -> str:
    """What to type for the one that is meant where none is named."""
    return named(find("", shop))


def _not_found(name: str, own: list[str], told: str) -> str:
    known = f"Shipped: {', '.join(shipped())}." + (f" Yours: {', '.join(own)}." if own else "")
    if Path(name).suffix == KNOWLEDGE_SUFFIX or Path(name).name != name:
        return f"there is no knowledge file at '{name}'{told}. {known}"
    close = nearest(name, [*shipped(), *own])
    guess = f" Did you mean '{close}'?" if close else ""
    return (
        f"there is no appliance called '{name}'{told}.{guess} {known} "
        "Type 'faultodds appliance list', or give the path of a knowledge file."
    )


def named(path: Path) -> str:
    """What to type for a knowledge file wherever one is: its name when it is shipped or the shop's own, else its whole path."""
    if path.parent == SHIPPED_FOLDER or added().get(path.stem) == path:
        return path.stem
    return str(path.absolute())


def again(path: Path) -> str:
    """What a further command has to say to be about the same file: nothing for the one that is usual here."""
    with contextlib.suppress(FaultoddsError):
        if find() == path:
            return ""
    return f" --appliance {shlex.quote(named(path))}"


def of_content(content: str) -> Path | None:
    """A file of the shop's own, or a shipped one, with this fingerprint; None when there is none."""
    places = [*added().values(), *(find(name) for name in shipped())]
    return next((place for place in places if _fingerprint_at(place) == content), None)


def id_in(data: bytes) -> str:
    """The id in the bytes of a knowledge file; empty when there is none to be found."""
    plain = _PLAIN_ID.search(data)
    if plain:
        return plain[1].decode("utf-8", "replace")
    try:
        return str(toml_tables(data)["appliance"]["id"])
    except (ValueError, KeyError, TypeError):
        return ""  # not a knowledge file at all: whoever reads it next says so


def _id_at(path: Path) -> str:
    with contextlib.suppress(OSError):
        return id_in(bytes_of(path))
    return ""


def _fingerprint_at(path: Path) -> str:
    with contextlib.suppress(OSError):
        return fingerprint(bytes_of(path))
    return ""


def words_file(appliance: str) -> Path | None:
    """The file of what an appliance's parts and states are called, by its id; None when there is none."""
    path = SHIPPED_FOLDER / "words" / (appliance + KNOWLEDGE_SUFFIX)
    return path if path.is_file() else None


def read_bytes(path: Path) -> bytes:
    """The file's bytes; KnowledgeError when it cannot be read."""
    try:
        return bytes_of(path)
    except OSError as error:
        raise KnowledgeError(f"{path}: cannot be read ({error.strerror or error}).") from None


def fingerprint(data: bytes) -> str:
    """Hash that names this exact content in caches, jobs and revisions."""
    return hashlib.sha256(data).hexdigest()[:16]
