"""Stored jobs: the store opened, a visit on a new job or on one that is there, and the visit as the screens want it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from faultodds_cli.shared.call import NO_SHOP

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.job import OpenJob, Store


@contextmanager
def opened_store(data: str | None) -> Iterator[Store]:
    """The job store, closed at the end."""
    from faultodds.job import Store

    with Store.open(data) as store:
        yield store


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
