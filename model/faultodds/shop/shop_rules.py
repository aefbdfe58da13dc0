"""What a shop file may say of an appliance: names that it has, numbers that are no slip, one currency. Looked at on every use."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from faultodds.errors import ShopError, unknown
from faultodds.knowledge import Knowledge
from faultodds.shop.records import Shop, ShopCosts, given

# Past these a number is taken for a slip: minutes of one piece of work, an hour's labour, any other amount (both in the
# knowledge file's currency), how far a technician's pace may be from the usual, an exchange rate.
MOST_MINUTES, MOST_LABOUR, MOST_MONEY = 480.0, 1_000.0, 20_000.0
SLOWEST, FASTEST = 5.0, 0.2
MOST_EXCHANGE = 1e6


def check(shop: Shop, k: Knowledge, where: str) -> None:
    """Raise ShopError or UnknownName for a name this appliance does not have, or a number that can only be a slip."""
    _check_currency(shop, k, where)
    work = [*k.check, *k.repair]
    _known(shop.parts, "repair", k.repair, f"{where}: [parts]")
    _known(shop.minutes, "check or repair", work, f"{where}: [minutes]")
    _known(shop.access, "access item", k.access, f"{where}: [access]")
    _known(shop.van.tools or [], "tool", k.tools(), f"{where}: [van] tools")
    for name, who in shop.technician.items():
        _known(who.tools or [], "tool", k.tools(), f"{where}: [technician.{name}] tools")
        _known(who.minutes, "check or repair", work, f"{where}: [technician.{name}.minutes]")
    for key, found, least, most, unit in _ranges(shop, k):
        if not least <= found <= most:
            raise ShopError(f"{where}: {key} = {found:g}: {unit} from {least:g} to {most:g}.")


def _known(found: Iterable[str], kind: str, allowed: Mapping[str, Any] | list[str], where: str) -> None:
    for name in found:
        if name not in allowed:
            raise unknown(kind, name, allowed, where=where)


def _ranges(shop: Shop, k: Knowledge) -> Iterator[tuple[str, float, float, float, str]]:
    """Every number: its key, itself, the least and the most it may be, and what it is."""
    own = shop.shop.currency in (None, k.costs.currency)
    scale = shop.shop.exchange or (1.0 if own else MOST_EXCHANGE)
    currency = shop.shop.currency or k.costs.currency
    labour = (0.0, MOST_LABOUR * scale, f"an hour's labour is in {currency},")
    money = (0.0, MOST_MONEY * scale, f"amounts are in {currency},")
    minutes = (0.0, MOST_MINUTES, "minutes are")
    for name, value in given(shop.costs).items():
        yield f"[costs] {name}", value, *(labour if name == "labour_rate" else money)
    for name, value in shop.parts.items():
        yield f"[parts] {name}", value, *money
    for name, value in shop.minutes.items():
        yield f"[minutes] {name}", value, *minutes
    for item, times in shop.access.items():
        for way in ("open", "close"):
            if (value := getattr(times, way)) is not None:
                yield f"[access] {item}.{way}", value, *minutes
    yield "[van] carrying", shop.van.carrying, 0.0, 1.0, "it is a share of a part's price for each call,"
    for name, who in shop.technician.items():
        yield f"[technician.{name}] pace", who.pace, FASTEST, SLOWEST, "a pace is"
        if who.labour_rate is not None:
            yield f"[technician.{name}] labour_rate", who.labour_rate, *labour
        for work, value in who.minutes.items():
            yield f"[technician.{name}.minutes] {work}", value, *minutes


def _check_currency(shop: Shop, k: Knowledge, where: str) -> None:
    """Amounts in two currencies are never added up: a shop with its own says what the file's are in it, or prices
    everything.
    """
    head, theirs = shop.shop, k.costs.currency
    if head.currency is not None and not (head.currency.isalpha() and len(head.currency) == 3):
        raise ShopError(f"{where}: [shop] currency = '{head.currency}': write three letters, such as USD, GBP or EUR.")
    if head.exchange is not None and not 1.0 / MOST_EXCHANGE <= head.exchange <= MOST_EXCHANGE:
        raise ShopError(f"{where}: [shop] exchange = {head.exchange:g}: what 1 {theirs} is in your currency, above 0.")
    if head.currency in (None, theirs):
        if head.exchange not in (None, 1.0):
            raise ShopError(
                f"{where}: [shop] exchange = {head.exchange:g}: prices are in {theirs} already; leave it out."
            )
        return
    missing = [f"[costs] {f.name}" for f in dataclasses.fields(ShopCosts) if getattr(shop.costs, f.name) is None]
    missing += [f"[parts] {n}" for n, r in k.repair.items() if r.cost and n not in shop.parts]
    if head.exchange is None and missing:
        raise ShopError(
            f"{where}: [shop] currency is {head.currency}, but {len(missing)} amounts are still the knowledge file's, in "
            f"{theirs}: {', '.join(missing[:4])}{' ...' if len(missing) > 4 else ''}. Add them, or add to [shop] "
            f"exchange = what 1 {theirs} is in {head.currency}."
        )
