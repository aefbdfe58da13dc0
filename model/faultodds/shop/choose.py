"""A shop's own money and minutes, laid over a knowledge file: one TOML file, read by the everyday commands.

    [shop]          name, currency, exchange, appliance (the usual one)
    [costs]         labour_rate, travel, callback, refer
    [parts]         repair = price
    [minutes]       check or repair = minutes
    [access]        item = { open = minutes, close = minutes }
    [van]           carrying = share of a part's price that having it aboard for one call costs, tools = [what is aboard]
    [technician.T1] name, pace, labour_rate, qualified, tools, minutes = { check or repair = minutes }

Whatever it does not say stays as the knowledge file has it. A technician's `pace` multiplies all minutes but the
verification run, which takes as long as the machine takes; minutes of the technician's own stand as they are. What needs
a tool that is not carried is not advised; without a list of tools every one is taken to be there. Odds
never change: no share or chance is in here, so the compiled arrays are used as they are. Types are checked by
pydantic (`shop_file.py`) when a file is new; after that its parsed form is read from the cache (`shop_cache.py`).
Every everyday command asks this module whether there is a shop file at all, so it imports next to nothing.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Final

from faultodds.errors import ShopError
from faultodds.files import NO_SHOP, find_shop

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.knowledge import Knowledge
    from faultodds.shop.records import Shop

TECHNICIAN_VARIABLE: Final = "FAULTODDS_TECHNICIAN"


def read(path: Path, k: Knowledge | None = None) -> Shop:
    """The shop file at a path, from the cache when it is known; ShopError names what is wrong with it, of an appliance's numbers
    as well where its knowledge is given."""
    from faultodds.shop.parsed import cached

    return cached(path, k)


def chosen_technician(given: str | None = None) -> str:
    """The technician as typed: the one given, else the one in FAULTODDS_TECHNICIAN; empty for nobody in particular."""
    wanted = (given or "").strip() or os.environ.get(TECHNICIAN_VARIABLE, "").strip()
    return "" if wanted == NO_SHOP else wanted


def priced(appliance: Appliance, shop: str | None = None, technician: str | None = None) -> Appliance:
    """The appliance at the shop's prices and minutes, or as it is when there is no shop file.

    `shop` is a path or "none", `technician` a name in the file or "none"; without them FAULTODDS_SHOP and
    FAULTODDS_TECHNICIAN are asked. Raises ShopError, or UnknownName for a technician who is not in the file.
    """
    path = find_shop(shop)
    wanted = chosen_technician(technician)
    if path is not None:
        from faultodds.shop.laid_over import lay_over

        return lay_over(appliance, read(path, appliance.knowledge), path, wanted)
    if wanted:
        raise ShopError(
            f"technician '{wanted}': there is no shop file to look them up in. Name one with --shop FILE, make one with "
            "'faultodds shop new', or use --technician none."
        )
    return appliance
