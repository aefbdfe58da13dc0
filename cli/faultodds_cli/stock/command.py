"""`faultodds stock`: before the visit, what to have in the van, and how long the call will take."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from faultodds_cli.shared import options
from faultodds_cli.shared.call import call_as_given
from faultodds_cli.shared.printing import say, say_json

if TYPE_CHECKING:
    from faultodds.job import Standing
    from faultodds.stock import Limit, Stock

app = options.new_app("Before the visit: which parts to carry, the chance of finishing in one visit, minutes on site.")


@app.command()
def stock(
    fact: options.Fact = None,
    found: options.Found = None,
    budget: options.Budget = None,
    shelf: options.Shelf = None,
    carry: Annotated[
        list[str] | None,
        typer.Option(
            "--carry",
            metavar="PART,PART",
            help="What is in the van already: judged as it is, or added to with --budget or --shelf.",
        ),
    ] = None,
    jobs: Annotated[
        int | None,
        typer.Option(
            "--jobs", metavar="N", max=10_000, help="Parts for N calls of the usual mix between two restockings."
        ),
    ] = None,
    qualified: options.Qualified = True,
    appliance: options.Appliance = options.DEFAULT_APPLIANCE,
    revision: options.Revision = None,
    shop: options.Shop = None,
    technician: options.Technician = None,
    as_json: options.Json = False,
) -> None:
    """Which parts to carry, from what the customer said; without a complaint, for the usual mix of calls.

    Examples: faultodds stock --found heat=none --budget 150 / faultodds stock --jobs 20 --shelf 25
    """
    from faultodds.errors import FaultoddsError

    if jobs is not None and found:
        raise FaultoddsError(
            f"--jobs {jobs} is about calls of the usual mix, --found about one call. Leave one of them out."
        )
    view = call_as_given(
        appliance, fact, found, qualified=qualified, revision=revision, shop=shop, technician=technician
    )
    from faultodds.stock import Limit, Stock

    ready = Stock(view.appliance, view.belief, view.situation)
    limit = Limit(budget, shelf, tuple(p.strip() for text in carry or [] for p in text.split(",") if p.strip()))
    if jobs is not None:
        _say_shelf(view, ready, limit, jobs, as_json)
    else:
        _say_load(view, ready, limit, as_json)


def _say_load(view: Standing, ready: Stock, limit: Limit, as_json: bool) -> None:
    from faultodds.stock import on_site
    from faultodds_cli.stock import show as stock_show

    given = bool(limit.carried) and limit.is_free
    load = ready.judge(limit.carried) if given else ready.load(limit)
    minutes = on_site(ready, [p.name for p in load.parts])
    if as_json:
        say_json(stock_show.load_answer(view, ready, load, minutes, limit))
    else:
        say(stock_show.load_lines(view, ready, load, minutes, limit))


def _say_shelf(view: Standing, ready: Stock, limit: Limit, jobs: int, as_json: bool) -> None:
    from collections import Counter

    from faultodds.stock import Planner
    from faultodds_cli.stock import show as stock_show

    planner = Planner(ready, jobs)
    given = bool(limit.carried) and limit.is_free
    shelf = planner.judged(Counter(planner.named(limit.carried))) if given else planner.best(limit)
    if as_json:
        say_json(stock_show.shelf_answer(view, shelf, limit))
    else:
        say(stock_show.shelf_lines(view, shelf, limit))
