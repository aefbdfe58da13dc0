"""A shop file laid over an appliance: which numbers of the knowledge file it replaces."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

from faultodds.belief import Appliance, Used
from faultodds.knowledge import Knowledge, overlay
from faultodds.names import match
from faultodds.shop.records import Shop, ShopCosts, Technician, Times, given
from faultodds.shop.shop_rules import check


def lay_over(appliance: Appliance, shop: Shop, path: Path, technician: str = "") -> Appliance:
    """The appliance with the shop's numbers in place of the knowledge file's; its odds are untouched."""
    check(shop, appliance.knowledge, path.name)
    name = _technician(shop, path, technician)
    who = shop.technician[name] if name else Technician()
    k = appliance.knowledge
    laid = overlay.apply(k, _numbers(shop, who, k))
    if shop.shop.currency is not None:
        laid = dataclasses.replace(laid, costs=dataclasses.replace(laid.costs, currency=shop.shop.currency))
    carried = shop.van.tools if who.tools is None else who.tools
    lacking = () if carried is None else tuple(tool for tool in k.tools() if tool not in carried)
    used = Used(path, shop.shop.name, name, who.qualified, shop.van.carrying, lacking)
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
