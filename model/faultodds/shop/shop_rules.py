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
    """Raise ShopError for names this appliance does not have, and numbers that can only be slips."""
    if problems := list(problems_of(shop, k)):
        raise ShopError.all_of(where, problems)


def problems_of(shop: Shop, k: Knowledge) -> Iterator[str]:
    """All of those, one sentence each, the key first."""
    yield from _currency_problems(shop, k)
    work = [*k.check, *k.repair]
    yield from _unknown(shop.parts, "repair", k.repair, "parts")
    yield from _unknown(shop.minutes, "check or repair", work, "minutes")
    yield from _unknown(shop.access, "access item", k.access, "access")
    yield from _unknown(shop.van.tools or [], "tool", k.tools(), "van.tools")
    for name, who in shop.technician.items():
        yield from _unknown(who.tools or [], "tool", k.tools(), f"technician.{name}.tools")
        yield from _unknown(who.minutes, "check or repair", work, f"technician.{name}.minutes")
    for key, found, least, most, unit in _ranges(shop, k):
        if not least <= found <= most:
            yield f"{key}: found {found:g}; {unit} from {least:g} to {most:g}."


def _unknown(found: Iterable[str], kind: str, allowed: Mapping[str, Any] | list[str], key: str) -> Iterator[str]:
    for name in dict.fromkeys(found):
        if name not in allowed:
            yield str(unknown(kind, name, allowed, where=key))


def _ranges(shop: Shop, k: Knowledge) -> Iterator[tuple[str, float, float, float, str]]:
    """Every number: its key, itself, the least and the most it may be, and what it is."""
    own = shop.shop.currency in (None, k.costs.currency)
    scale = shop.shop.exchange or (1.0 if own else MOST_EXCHANGE)
    currency = shop.shop.currency or k.costs.currency
    labour = (0.0, MOST_LABOUR * scale, f"an hour's labour is in {currency},")
    money = (0.0, MOST_MONEY * scale, f"amounts are in {currency},")
    minutes = (0.0, MOST_MINUTES, "minutes are")
    for name, value in given(shop.costs).items():
        yield f"costs.{name}", value, *(labour if name == "labour_rate" else money)
    for name, value in shop.parts.items():
        yield f"parts.{name}", value, *money
    for name, value in shop.minutes.items():
        yield f"minutes.{name}", value, *minutes
    for item, times in shop.access.items():
        for way in ("open", "close"):
            if (value := getattr(times, way)) is not None:
                yield f"access.{item}.{way}", value, *minutes
    yield "van.carrying", shop.van.carrying, 0.0, 1.0, "it is a share of a part's price for each call,"
    for name, who in shop.technician.items():
        yield f"technician.{name}.pace", who.pace, FASTEST, SLOWEST, "a pace is"
        if who.labour_rate is not None:
            yield f"technician.{name}.labour_rate", who.labour_rate, *labour
        for work, value in who.minutes.items():
            yield f"technician.{name}.minutes.{work}", value, *minutes


def _currency_problems(shop: Shop, k: Knowledge) -> Iterator[str]:
    """Amounts in two currencies are never added up: a shop with its own says what the file's are in it, or prices
    everything.
    """
    head, theirs = shop.shop, k.costs.currency
    if head.currency is not None and not (head.currency.isalpha() and len(head.currency) == 3):
        yield f"shop.currency: found '{head.currency}'; write three letters, such as USD, GBP or EUR."
    elif head.exchange is not None and not 1.0 / MOST_EXCHANGE <= head.exchange <= MOST_EXCHANGE:
        yield f"shop.exchange: found {head.exchange:g}; it is what 1 {theirs} is in your currency, above 0."
    elif head.currency in (None, theirs):
        if head.exchange not in (None, 1.0):
            yield f"shop.exchange: found {head.exchange:g}; prices are in {theirs} already; leave it out."
    elif head.exchange is None:
        missing = [f"costs.{f.name}" for f in dataclasses.fields(ShopCosts) if getattr(shop.costs, f.name) is None]
        missing += [f"parts.{n}" for n, r in k.repair.items() if r.cost and n not in shop.parts]
        if missing:
            yield (
                f"shop.currency: it is {head.currency}, but {len(missing)} amounts are still the knowledge file's, in "
                f"{theirs}: {', '.join(missing[:4])}{' ...' if len(missing) > 4 else ''}. Add them, or add to [shop] "
                f"exchange = what 1 {theirs} is in {head.currency}."
            )
