"""Shop files written and checked: a template to fill in, validation with messages that name the key, what a file
changes.

Off the everyday path: pydantic is imported here, when a shop file is read for the first time.
"""

from __future__ import annotations

import copy
import dataclasses
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultodds.belief import Appliance
from faultodds.errors import ShopError
from faultodds.files import is_kept, made_folder, written_whole
from faultodds.knowledge import Knowledge, in_words, keys_at, place_of, read_toml, records
from faultodds.shop.laid_over import lay_over
from faultodds.shop.records import Shop, ShopCosts, Technician, Van
from faultodds.shop.shop_rules import problems_of

# --- reading -------------------------------------------------------------------------------------------------------


def parse(data: bytes, where: str = "shop file", k: Knowledge | None = None) -> Shop:
    """A shop file's bytes, its types and keys checked; `where` names the file in messages.

    ShopError tells all mistakes of form, and with the appliance's knowledge `k` those of sense in what is well formed.
    """
    raw = read_toml(data, where, ShopError)
    found = records(raw, Shop)
    if isinstance(found, Shop):
        return found
    sense = problems_of(rest, k) if k and (rest := _well_formed(raw, found)) else ()
    raise ShopError.all_of(where, [*in_words(found, Shop), *sense])


def _well_formed(raw: dict[str, Any], errors: list[Any]) -> Shop | None:
    """The rest of a file with mistakes of form; None where that is no longer what the file means: what `[shop]` says decides how
    all amounts are read, and a whole table may have been meant for any."""
    rest = copy.deepcopy(raw)
    for place in (place_of(error, Shop) for error in errors):
        if len(place) == 1 or place[0] == "shop":
            return None
        holder = rest
        for part in place[:-1]:
            if not isinstance(holder.get(part), dict):
                break
            holder = holder[part]
        else:
            part = place[-1]
        holder.pop(part, None)  # or gone already with another mistake in the same list
        if place[0] in ("costs", "parts"):  # that an amount is not there would only follow from the mistake
            holder |= dict.fromkeys([part] if place[0] == "parts" else keys_at(Shop, ["costs"]) - holder.keys(), 0.0)
    found = records(rest, Shop)
    return found if isinstance(found, Shop) else None


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
        made_folder(path.parent)
        with written_whole(path, shared=not is_kept(path), fresh=True) as beside:
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
