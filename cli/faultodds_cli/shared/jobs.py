"""What the commands on stored jobs share: where the store is, and how a visit is opened."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds_cli.shared.options import DEFAULT_APPLIANCE, View

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.job import OpenJob, Store

DataOption = Annotated[
    str | None,
    typer.Option(
        "--data",
        metavar="FOLDER",
        help="Where jobs are kept, instead of your data folder (or FAULTODDS_DATA).",
    ),
]
JobArgument = Annotated[str, typer.Argument(metavar="JOB", help="The number of the job.")]
FileOption = Annotated[
    str | None,
    typer.Option(
        "--appliance",
        metavar="NAME|FILE",
        help="A shipped appliance (gas_dryer) or a knowledge file by path.",
    ),
]


# For commands that advise nothing: what they print rests on no price.
NO_SHOP = "none"


@contextmanager
def opened_store(data: str | None) -> Iterator[Store]:
    """The job store, closed at the end."""
    from faultodds.job import Store

    with Store.open(data) as store:
        yield store


def appliance_named(
    name: str | None, revision: str | None = None, shop: str | None = NO_SHOP, technician: str | None = NO_SHOP
) -> Appliance:
    """The appliance by name or path, or the usual one, with the accepted revision of its numbers or another, at the prices and
    minutes of `shop` and `technician` as `shop.priced` takes them (the knowledge file's own unless said)."""
    from faultodds.belief import open_appliance
    from faultodds.shop import priced

    return priced(open_appliance(name or DEFAULT_APPLIANCE, revision=revision), shop, technician)


def start(store: Store, appliance: Appliance, title: str = "", **settings: Any) -> OpenJob:
    """A visit on a new job; `settings` as `OpenJob` has them."""
    from faultodds.job import OpenJob

    return OpenJob.start(store, appliance, title, **settings)


def resume(
    store: Store,
    job: str,
    appliance: str | None = None,
    revision: str | None = None,
    shop: str | None = NO_SHOP,
    technician: str | None = NO_SHOP,
    **settings: Any,
) -> OpenJob:
    """A visit on a stored job, with the numbers it is advised with, or with those of `revision` this once; prices and minutes as
    in `appliance_named`."""
    from faultodds.job import OpenJob
    from faultodds.shop import priced

    visit = OpenJob.resume(store, job, appliance, revision, **settings)
    visit.appliance = priced(visit.appliance, shop, technician)
    return visit


def view_of(visit: OpenJob) -> View:
    """The visit as the screens want it; raises ClashError while its findings fit no fault."""
    now = visit.now
    view = View(visit.appliance, visit.job, visit.situation, now.belief)
    vars(view)["advice"] = now.advice  # already worked out; the view would only do it again
    return view
