"""What the commands on stored jobs share: where the store is, and how a visit is opened."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from faultodds_cli.common import DEFAULT_APPLIANCE, View

if TYPE_CHECKING:
    from faultodds.appliance import Appliance
    from faultodds.store import Store
    from faultodds.visit import Visit

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


@contextmanager
def opened_store(data: str | None) -> Iterator[Store]:
    """The job store, closed at the end."""
    from faultodds.store import Store

    with Store.open(data) as store:
        yield store


def appliance_named(name: str | None) -> Appliance:
    """The appliance by name or path, or the usual one."""
    from faultodds.appliance import open_appliance

    return open_appliance(name or DEFAULT_APPLIANCE)


def start(store: Store, appliance: Appliance, title: str = "", **settings: Any) -> Visit:
    """A visit on a new job; `settings` as `Visit` has them."""
    from faultodds.visit import Visit

    return Visit.start(store, appliance, title, **settings)


def resume(store: Store, job: str, appliance: str | None = None, **settings: Any) -> Visit:
    """A visit on a stored job."""
    from faultodds.visit import Visit

    return Visit.resume(store, job, appliance, **settings)


def view_of(visit: Visit) -> View:
    """The visit as the screens want it; raises ClashError while its findings fit no fault."""
    now = visit.now
    view = View(visit.appliance, visit.job, visit.situation, now.belief)
    vars(view)["advice"] = now.advice  # already worked out; the view would only do it again
    return view
