"""Shop files written and checked: a template to fill in, validation with messages that name the key, what a file
changes.

Off the everyday path: pydantic is imported here, when a shop file is read for the first time.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from faultodds.belief import Appliance
from faultodds.errors import ShopError, nearest
from faultodds.files import written_whole
from faultodds.knowledge import Knowledge, keys_at, read_toml
from faultodds.shop.laid_over import lay_over
from faultodds.shop.records import Shop, ShopCosts, Technician, Van

# --- reading -------------------------------------------------------------------------------------------------------


def parse(data: bytes, where: str = "shop file") -> Shop:
    """A shop file's bytes, its types and keys checked; `where` names the file in messages."""
    from pydantic import ValidationError

    raw = read_toml(data, where, ShopError)
    try:
        # By way of JSON, where strict means no text or truth value for a number, yet a table for a record.
        shop: Shop = _validator().validate_json(json.dumps(raw, default=str), strict=True)
    except ValidationError as error:
        raise ShopError(_message(error.errors(include_url=False), where)) from None
    return shop


@cache
def _validator() -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(Shop)


_WANTED = {"float_type": "a number, without quotes", "bool_type": "true or false", "string_type": "text in quotes"}


def _message(problems: list[Any], where: str) -> str:
    """The first problem in words, with its key as it stands in the file."""
    first = problems[0]
    place = [str(p) for p in first["loc"]]
    more = f" ({len(problems) - 1} more after this one.)" if len(problems) > 1 else ""
    if first["type"] in ("unexpected_keyword_argument", "extra_forbidden"):
        allowed = keys_at(Shop, place[:-1])
        close = nearest(place[-1], allowed)
        guess = f" Did you mean '{close}'?" if close else ""
        return f"{where}: {_key(place)}: there is no such key.{guess} Allowed here: {', '.join(allowed)}.{more}"
    wanted = _WANTED.get(first["type"])
    if wanted is None:
        return f"{where}: {_key(place)}: a table is wanted here, such as {_example(place)}.{more}"
    return f"{where}: {_key(place)} = {first['input']!r}: write {wanted}.{more}"


def _key(place: list[str]) -> str:
    """`[parts] coil_set`, `[access] front_open.open`, `[technician.T1] pace`."""
    if len(place) == 1:
        return f"[{place[0]}]"
    head = 2 if place[0] == "technician" and len(place) > 2 else 1
    head = 3 if head == 2 and len(place) > 3 else head
    return f"[{'.'.join(place[:head])}] {'.'.join(place[head:])}"


def _example(place: list[str]) -> str:
    return "front_open = { open = 8, close = 7 }" if place[0] == "access" else f"[{'.'.join(place)}]"


# --- what a file changes -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ShopLine:
    """One number as it stands: whose it is (`own`: the shop's or the technician's, not the knowledge file's)."""

    group: str
    name: str
    title: str
    value: float
    file: float
    own: bool


def lines(appliance: Appliance, shop: Shop, path: Path, technician: str = "") -> list[ShopLine]:
    """Every amount and every minute in use with this shop file, beside the knowledge file's."""
    laid = lay_over(appliance, shop, path, technician)
    assert laid.shop is not None
    who = shop.technician.get(laid.shop.technician, Technician())
    return [*_money_lines(appliance.knowledge, laid.knowledge, shop, who), *_minute_lines(appliance, laid, shop, who)]


def _money_lines(k: Knowledge, now: Knowledge, shop: Shop, who: Technician) -> Iterator[ShopLine]:
    titles = {"labour_rate": "an hour's labour", "travel": "travel for another visit"}
    titles |= {"callback": "a wasted visit", "refer": "handing the job over"}
    for f in dataclasses.fields(ShopCosts):
        own = getattr(shop.costs, f.name) is not None or (f.name == "labour_rate" and who.labour_rate is not None)
        yield ShopLine("costs", f.name, titles[f.name], getattr(now.costs, f.name), getattr(k.costs, f.name), own)
    for name, repair in k.repair.items():
        yield ShopLine("parts", name, repair.title, now.repair[name].cost, repair.cost, name in shop.parts)


def _minute_lines(appliance: Appliance, laid: Appliance, shop: Shop, who: Technician) -> Iterator[ShopLine]:
    k, now = appliance.knowledge, laid.knowledge
    for name, work in {**k.check, **k.repair}.items():
        then = {**now.check, **now.repair}[name]
        own = name in shop.minutes or name in who.minutes or then.minutes != work.minutes
        yield ShopLine("minutes", name, work.title, then.minutes, work.minutes, own)
    for item, access in k.access.items():
        for way in ("open", "close"):
            value, file = (getattr(x.access[item], f"{way}_minutes") for x in (now, k))
            said = item in shop.access and getattr(shop.access[item], way) is not None
            yield ShopLine("access", f"{item}.{way}", f"{access.title}: {way}", value, file, said or value != file)


# --- a new file ----------------------------------------------------------------------------------------------------


def write_template(k: Knowledge, path: Path) -> None:
    """Write a shop file to fill in; ShopError when there is one already or it cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with written_whole(path, shared=True, fresh=True) as beside:
            beside.write_text(template(k), encoding="utf-8")
    except FileExistsError:
        raise ShopError(
            f"{path} is there already and was left as it is. Edit it, or name another file: faultodds shop new FILE."
        ) from None
    except OSError as error:
        raise ShopError(f"{path}: cannot be written ({error.strerror or error}).") from None


def template(k: Knowledge) -> str:
    """A shop file in which every number of this appliance stands as a comment, to be made the shop's own."""
    return "\n".join([*_head_text(k), *_parts_text(k), *_minutes_text(k), *_people_text(k)]) + "\n"


def _head_text(k: Knowledge) -> list[str]:
    c = k.costs
    return [
        "# Our shop's own money and minutes, laid over the knowledge file. Odds do not change; prices, minutes and advice do.",
        "#",
        f"# Every line below that begins with # stands at the first guess of '{k.appliance.id}'. Take the # away and write your",
        "# own number; leave the rest. Then type: faultodds shop check",
        "",
        "[shop]",
        '# name = "Our shop"',
        f'# currency = "{c.currency}"',
        f"# exchange = 1.0            # with another currency: what 1 {c.currency} is in it, for the prices not given below",
        f"# appliance = {json.dumps(k.appliance.id)}".ljust(28)
        + "# the one that is meant when none is named: see faultodds appliance list",
        "",
        "[costs]",
        f"# labour_rate = {c.labour_rate:g}".ljust(28) + "# an hour",
        f"# travel = {c.travel:g}".ljust(28) + "# getting there once more",
        f"# callback = {c.callback:g}".ljust(28) + "# a wasted visit, beside the travel",
        f"# refer = {c.refer:g}".ljust(28) + "# handing the job over: what it costs you",
        "",
        "[van]",
        f"# carrying = {Van().carrying:g}".ljust(28) + "# having a part aboard for one call, as a share of its price",
        "# What is aboard, helper for a second person. With a list, work that needs anything else is not advised.",
        f"# tools = [{', '.join(json.dumps(tool) for tool in k.tools())}]",
        "",
    ]


def _parts_text(k: Knowledge) -> list[str]:
    rows = [(f"# {n} = {r.cost:g}", r.title) for n, r in k.repair.items()]
    return [f"[parts]                     # price of the part, {k.costs.currency}", *_rows(rows), ""]


def _minutes_text(k: Knowledge) -> list[str]:
    checks = [(f"# {n} = {c.minutes:g}", c.title) for n, c in k.check.items()]
    repairs = [(f"# {n} = {r.minutes:g}", r.title) for n, r in k.repair.items()]
    access = [
        (f"# {n} = {{ open = {a.open_minutes:g}, close = {a.close_minutes:g} }}", a.title) for n, a in k.access.items()
    ]
    return [
        "[minutes]                   # hands on, with panels and plugs already as they have to be",
        *_rows(checks),
        *_rows(repairs),
        "",
        "[access]                    # minutes to open, shut off or move something, and to put it back",
        *_rows(access),
        "",
    ]


def _people_text(k: Knowledge) -> list[str]:
    check = next(n for n in k.check if n != k.costs.verify)
    return [
        "# Technicians, by what you type after --technician. pace 1.2 takes 1.2 times the minutes above, the verification run",
        "# apart: that takes as long as the machine takes. Minutes of their own stand as they are.",
        "# [technician.T1]",
        '# name = "First technician"',
        "# pace = 1.2",
        f"# labour_rate = {k.costs.labour_rate:g}",
        "# qualified = false         # not for energised and gas-pressure work",
        f"# tools = [{', '.join(json.dumps(tool) for tool in k.tools()[:1])}]".ljust(28)
        + "# what this one carries, in place of the van's",
        f"# minutes = {{ {check} = {k.check[check].minutes * 1.5:g} }}",
    ]


def _rows(rows: list[tuple[str, str]]) -> list[str]:
    room = max(len(left) for left, _ in rows) + 2
    return [f"{left.ljust(room)}# {title}" for left, title in rows]
