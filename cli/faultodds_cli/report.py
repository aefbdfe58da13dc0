"""`faultodds report`: a page for the customer or the shop at the end of a job, or the manager's month."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.call import appliance_named
from faultodds_cli.shared.jobs import opened_store, resume
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.text import wrap

if TYPE_CHECKING:
    from faultodds.reports import Page
    from faultodds.shop import Shop

app = options.new_app("A page for the customer or the shop, or the manager's month; HTML or PDF.")


class Reader(StrEnum):
    """Whom a job's page is for."""

    customer = "customer"
    shop = "shop"


@app.command()
def report(
    what: Annotated[str, typer.Argument(metavar="JOB|month", help="The number of the job, or month.")],
    month: Annotated[
        str | None, typer.Argument(metavar="[YYYY-MM]", help="Which month; this one if not given.")
    ] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="job.html or job.pdf; printed here if not given.")
    ] = None,
    reader: Annotated[Reader, typer.Option("--for", help="Whom the page is for.")] = Reader.customer,
    names: Annotated[
        bool,
        typer.Option(
            "--with-names", help="With title, notes, names, serial number and photographs, which may be personal."
        ),
    ] = False,
    paper: options.Paper = "letter",
    force: options.Force = False,
    appliance: options.JobAppliance = None,
    shop: options.Shop = None,
    data: options.Data = None,
    as_json: options.Json = False,
) -> None:
    """One page about a job, for the customer or for the shop, or one about a month, with what imported logs hold of it.

    Examples: faultodds report 7 --to job.html / faultodds report 7 --for shop --to job.pdf / faultodds report month 2026-11
    """
    from faultodds.errors import FaultoddsError

    if month is not None and what != "month":
        raise FaultoddsError(
            f"'{month}' after a job's number is not understood. For a month: faultodds report month {month}"
        )
    page = _month(month, appliance, shop, data) if what == "month" else _job(what, reader, names, appliance, shop, data)
    if to is None and as_json:
        from msgspec import to_builtins

        say_json(to_builtins(page, enc_hook=str))
        return
    if to is None:
        from faultodds_cli.shared.show_page import page_lines

        say(page_lines(page))
        return
    from faultodds.reports import save

    save(page, to, paper, force)
    if as_json:
        say_json({"file": str(to), "title": page.title})
    else:
        say(wrap(f"Wrote {to} ({to.stat().st_size:,} bytes)."))


def _job(job: str, reader: Reader, names: bool, appliance: str | None, shop: str | None, data: str | None) -> Page:
    from faultodds.reports import customer_page, shop_page

    with opened_store(data) as store:
        visit = resume(store, job, appliance, shop=shop, technician="none")
        make = customer_page if reader is Reader.customer else shop_page
        return make(visit, _shop_file(shop), date.today(), names)


def _month(month: str | None, appliance: str | None, shop: str | None, data: str | None) -> Page:
    from faultodds.reports import log_months, month_named, month_of, month_page

    today = date.today()
    name = month_named(month, today)
    ready = appliance_named(appliance, shop=shop, technician="none")
    with opened_store(data) as store:
        told = month_of(ready, store.list(), name)
    return month_page(ready, told, today, log_months(ready.knowledge, name, data))


def _shop_file(shop: str | None) -> Shop:
    from faultodds.files import find_shop
    from faultodds.shop import Shop, read

    path = find_shop(shop)
    return Shop() if path is None else read(path)
