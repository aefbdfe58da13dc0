"""What a shop file says, as plain records; the tables are those in the heading of `shop.py`."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any, ClassVar

from faultodds.knowledge import STRICT


@dataclass(frozen=True)
class Header:
    """Whose file it is. `exchange`: what one unit of the knowledge file's currency is in `currency`; `appliance`: the one that is
    meant where none is named (`files.find`)."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    name: str = ""
    currency: str | None = None
    exchange: float | None = None
    appliance: str = ""


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
    """`tools`: what every van carries; None where that is not said, and then nothing is taken to be missing.

    `carrying`: what having a part aboard for one call costs, as a share of its price (money tied up, room, damage). The
    default is a first guess; common practice, no source.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    carrying: float = 0.005
    tools: list[str] | None = None


@dataclass(frozen=True)
class Technician:
    """One technician. `pace` 1.2 takes 1.2 times the minutes; `qualified`: for energised and gas-pressure work; `tools`: what
    this one carries, in place of the van's."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    name: str = ""
    pace: float = 1.0
    labour_rate: float | None = None
    qualified: bool = True
    tools: list[str] | None = None
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


def given(costs: ShopCosts) -> dict[str, float]:
    """The costs that a shop states."""
    every = {f.name: getattr(costs, f.name) for f in dataclasses.fields(costs)}
    return {n: v for n, v in every.items() if v is not None}
