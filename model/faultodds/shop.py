"""A shop's own money and minutes, laid over a knowledge file: one TOML file, read by the everyday commands.

    [shop]          name, currency, exchange
    [costs]         labour_rate, travel, callback, refer
    [parts]         repair = price
    [minutes]       check or repair = minutes
    [access]        item = { open = minutes, close = minutes }
    [van]           carrying = share of a part's price that having it aboard for one call costs
    [technician.T1] name, pace, labour_rate, qualified, minutes = { check or repair = minutes }

Whatever it does not say stays as the knowledge file has it. A technician's `pace` multiplies all minutes but the
verification run, which takes as long as the machine takes; minutes of the technician's own stand as they are. Odds
never change: no share or chance is in here, so the compiled arrays are used as they are. Types are checked by
pydantic (`shop_file.py`) when a file is new; after that its parsed form is read from the cache, so that nothing heavy
is imported here.
"""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator
from dataclasses import field
from pathlib import Path
from typing import Any, ClassVar, Final

from faultodds import overlay
from faultodds.appliance import Appliance
from faultodds.errors import FaultoddsError
from faultodds.folders import data_folder
from faultodds.names import match
from faultodds.records import dataclass
from faultodds.schema import STRICT, Knowledge

SHOP_VARIABLE: Final = "FAULTODDS_SHOP"
TECHNICIAN_VARIABLE: Final = "FAULTODDS_TECHNICIAN"
FILE_NAME: Final = "shop.toml"
NONE: Final = "none"
"""In place of a file or a technician: without one."""


class ShopError(FaultoddsError):
    """A shop file that cannot be used; names the file and the key."""


@dataclass(frozen=True)
class Header:
    """Whose file it is. `exchange`: what one unit of the knowledge file's currency is in `currency`."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    name: str = ""
    currency: str | None = None
    exchange: float | None = None


@dataclass(frozen=True)
class ShopCosts:
    """As `schema.Costs`, each only where the shop says otherwise."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    labour_rate: float | None = None
    travel: float | None = None
    callback: float | None = None
    refer: float | None = None


@dataclass(frozen=True)
class Times:
    """Minutes to open and to close one access item."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    open: float | None = None
    close: float | None = None


@dataclass(frozen=True)
class Van:
    """`carrying`: what having a part aboard for one call costs, as a share of its price (money tied up, room, damage).

    The default is a first guess; common practice, no source.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    carrying: float = 0.005


@dataclass(frozen=True)
class Technician:
    """One technician. `pace` 1.2 takes 1.2 times the minutes; `qualified`: for energised and gas-pressure work."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    name: str = ""
    pace: float = 1.0
    labour_rate: float | None = None
    qualified: bool = True
    minutes: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Shop:
    """A shop file as it stands; see the module's heading."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    shop: Header = field(default_factory=Header)
    costs: ShopCosts = field(default_factory=ShopCosts)
    parts: dict[str, float] = field(default_factory=dict)
    minutes: dict[str, float] = field(default_factory=dict)
    access: dict[str, Times] = field(default_factory=dict)
    van: Van = field(default_factory=Van)
    technician: dict[str, Technician] = field(default_factory=dict)


@dataclass(frozen=True)
class Used:
    """Which shop file was laid over an appliance, and for which technician (empty for none in particular)."""

    path: Path
    name: str
    technician: str
    technician_name: str
    qualified: bool
    carrying: float


# --- which file, which technician ----------------------------------------------------------------------------------


def default_path() -> Path:
    """Where a shop's file is looked for when none is named."""
    return data_folder() / FILE_NAME


def find(given: str | None = None) -> Path | None:
    """The shop file to use: the one given, else the one in FAULTODDS_SHOP, else `shop.toml` in the data folder if
    there.

    "none" stands for no file. Raises ShopError for a file that is named and not there.
    """
    environment = os.environ.get(SHOP_VARIABLE, "").strip()
    named = (given or "").strip() or environment
    if named == NONE:
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


def read(path: Path) -> Shop:
    """The shop file at a path, from the cache when it is known; ShopError names what is wrong with it."""
    from faultodds.shop_cache import cached

    return cached(path)


def chosen_technician(given: str | None = None) -> str:
    """The technician as typed: the one given, else the one in FAULTODDS_TECHNICIAN; empty for nobody in particular."""
    wanted = (given or "").strip() or os.environ.get(TECHNICIAN_VARIABLE, "").strip()
    return "" if wanted == NONE else wanted


def priced(appliance: Appliance, shop: str | None = None, technician: str | None = None) -> Appliance:
    """The appliance at the shop's prices and minutes, or as it is when there is no shop file.

    `shop` is a path or "none", `technician` a name in the file or "none"; without them FAULTODDS_SHOP and
    FAULTODDS_TECHNICIAN are asked. Raises ShopError, or UnknownName for a technician who is not in the file.
    """
    path = find(shop)
    wanted = chosen_technician(technician)
    if path is not None:
        return lay_over(appliance, read(path), path, wanted)
    if wanted:
        raise ShopError(
            f"technician '{wanted}': there is no shop file to look them up in. Name one with --shop FILE, make one with "
            "'faultodds shop new', or use --technician none."
        )
    return appliance


# --- laying it over ------------------------------------------------------------------------------------------------


def lay_over(appliance: Appliance, shop: Shop, path: Path, technician: str = "") -> Appliance:
    """The appliance with the shop's numbers in place of the knowledge file's; its odds are untouched."""
    from faultodds.shop_rules import check

    check(shop, appliance.knowledge, path.name)
    name = _technician(shop, path, technician)
    who = shop.technician[name] if name else Technician()
    k = appliance.knowledge
    laid = overlay.apply(k, _numbers(shop, who, k))
    if shop.shop.currency is not None:
        laid = dataclasses.replace(laid, costs=dataclasses.replace(laid.costs, currency=shop.shop.currency))
    used = Used(path, shop.shop.name, name, who.name, who.qualified, shop.van.carrying)
    return dataclasses.replace(appliance, knowledge=laid, shop=used)


def _technician(shop: Shop, path: Path, wanted: str) -> str:
    if not wanted:
        return ""
    words = {n: t.name for n, t in shop.technician.items() if t.name}
    step = f"Add [technician.{wanted}] to {path}, or use --technician none."
    return match("technician", wanted, shop.technician, words, step)


def _numbers(shop: Shop, who: Technician, k: Knowledge) -> dict[str, float]:
    """Paths of `overlay.py` and what to put there."""
    numbers = dict(_in_currency(k, shop.shop.exchange))
    numbers |= {f"costs/{n}": v for n, v in given(shop.costs).items()}
    if who.labour_rate is not None:
        numbers["costs/labour_rate"] = who.labour_rate
    numbers |= {f"repair/{n}/cost": v for n, v in shop.parts.items()}
    return numbers | _minutes(shop, who, k)


def _in_currency(k: Knowledge, exchange: float | None) -> Iterator[tuple[str, float]]:
    """Every amount of the knowledge file in the shop's currency."""
    if exchange is None:
        return
    for name in dataclasses.fields(ShopCosts):
        yield f"costs/{name.name}", getattr(k.costs, name.name) * exchange
    for kind, works in (("repair", k.repair), ("check", k.check)):
        for n, work in works.items():
            yield f"{kind}/{n}/cost", work.cost * exchange


def _minutes(shop: Shop, who: Technician, k: Knowledge) -> dict[str, float]:
    """Minutes of all work and access, at the technician's pace."""
    numbers = {}
    for kind, works in (("check", k.check), ("repair", k.repair)):
        for name, work in works.items():
            pace = 1.0 if name == k.costs.verify else who.pace
            usual = shop.minutes.get(name, work.minutes)
            numbers[f"{kind}/{name}/minutes"] = who.minutes.get(name, usual * pace)
    for item, access in k.access.items():
        times = shop.access.get(item, Times())
        for way, usual in (("open", access.open_minutes), ("close", access.close_minutes)):
            own = getattr(times, way)
            numbers[f"access/{item}/{way}_minutes"] = (usual if own is None else own) * who.pace
    return numbers


def given(costs: ShopCosts) -> dict[str, float]:
    """The costs that a shop states."""
    every = {f.name: getattr(costs, f.name) for f in dataclasses.fields(costs)}
    return {n: v for n, v in every.items() if v is not None}
