"""Which file holds the shop's own prices, and which appliance it says is meant where none is named."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Final

from faultodds.errors import ShopError
from faultodds.files.folders import bytes_of, data_folder
from faultodds.files.toml_text import toml_tables

SHOP_VARIABLE: Final = "FAULTODDS_SHOP"
FILE_NAME: Final = "shop.toml"
NO_SHOP: Final = "none"
"""In place of a file: without one."""

# The word anywhere but in a comment; most files have none, and need not be read as TOML for it.
_SAYS_APPLIANCE = re.compile(rb"(?m)^[^#\n]*\bappliance\b")


def default_path() -> Path:
    """Where a shop's file is looked for when none is named."""
    return data_folder() / FILE_NAME


def find_shop(given: str | None = None) -> Path | None:
    """The shop file to use: the one given, else the one in FAULTODDS_SHOP, else `shop.toml` in the data folder if
    there.

    "none" stands for no file. Raises ShopError for a file that is named and not there.
    """
    environment = os.environ.get(SHOP_VARIABLE, "").strip()
    named = (given or "").strip() or environment
    if named == NO_SHOP:
        return None
    if not named:
        path = default_path()
        return path if path.is_file() else None
    path = Path(named).expanduser()
    if not path.is_file():
        source = "" if given else f" ({SHOP_VARIABLE} names it)"
        raise ShopError(
            f"there is no shop file at '{named}'{source}. Type 'faultodds shop new {named}' to make one, or --shop none "
            "for the knowledge file's own prices and minutes."
        )
    return path


def appliance_in(path: Path) -> str:
    """The `appliance` of `[shop]` in a shop file; empty where it says none. ShopError where it may say one and cannot be read."""
    try:
        data = bytes_of(path)
        if not _SAYS_APPLIANCE.search(data):
            return ""
        said = toml_tables(data).get("shop", {}).get("appliance", "")
        if isinstance(said, str):
            return said.strip()
        problem = "it is no text in quotes"
    except (OSError, ValueError, AttributeError) as error:
        problem = str(error) or type(error).__name__
    raise ShopError(f"{path} may say which appliance is the usual one and cannot be read: {problem}.")
