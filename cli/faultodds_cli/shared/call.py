"""A call as it stands: what is known of it, the fault odds from that, and the advice."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from faultodds_cli.shared.options import Texts

if TYPE_CHECKING:
    from faultodds.advice.plan import Plan
    from faultodds.belief import Appliance
    from faultodds.job import Job, Payload, Standing

# For commands that advise nothing: what they print rests on no price.
NO_SHOP = "none"


def appliance_named(
    name: str | None, revision: str | None = None, shop: str | None = NO_SHOP, technician: str | None = NO_SHOP
) -> Appliance:
    """The appliance by name or path, or the usual one, with the accepted revision of its numbers or another, at the prices and
    minutes of `shop` and `technician` as `shop.priced` takes them (the knowledge file's own unless said)."""
    from faultodds.belief import open_appliance
    from faultodds.files import usual
    from faultodds.shop import priced

    return priced(open_appliance(name or usual(shop), revision=revision), shop, technician)


def call_as_given(
    appliance: str,
    fact: Texts = None,
    found: Texts = None,
    reading: Texts = None,
    repaired: Texts = None,
    after: Texts = None,
    opened: Texts = None,
    skip: Texts = None,
    ambient: str | None = None,
    qualified: bool = True,
    labour_rate: float | None = None,
    revision: str | None = None,
    shop: str | None = None,
    technician: str | None = None,
    effort: int = 1,
) -> Standing:
    """The call as given on the command line. A stop sign stops before anything is loaded."""
    from faultodds.files import usual
    from faultodds.safety import stop_first

    appliance = appliance or usual(shop)
    stop_first(
        appliance, [text for texts in (fact, found, reading, after, repaired, opened, skip) for text in texts or []]
    )

    from faultodds.belief import open_appliance
    from faultodds.job import only_qualified, refuse_unqualified, steps_for_one_shot, take_skip, take_state
    from faultodds.shop import priced

    ready = priced(open_appliance(appliance, revision=revision), shop, technician)
    k = ready.knowledge
    steps = steps_for_one_shot(k, fact or [], found or [], reading or [], repaired or [], ambient)
    steps += steps_for_one_shot(k, [], after or [], [], (), ambient)
    if not qualified or (ready.shop is not None and not ready.shop.qualified):
        refuse_unqualified(only_qualified(k, (getattr(step, "name", "") for step in steps)))
    steps += [take_skip(k, name) for name in skip or []]
    if opened:
        steps.append(take_state(k, opened))
    return standing_of(ready, unsaved_job(ready, steps), qualified, labour_rate, effort)


def standing_of(
    appliance: Appliance, job: Job, qualified: bool = True, labour_rate: float | None = None, effort: int = 1
) -> Standing:
    """The call as it stands; raises ClashError when nothing on the list explains the findings.

    A technician whom the shop file does not call qualified is offered no such work, whatever `qualified` says; nor what needs a
    tool that is not carried.
    """
    from faultodds.job import situation_of, stand

    return stand(appliance, job, situation_of(appliance, job, qualified, labour_rate, effort))


def unsaved_job(appliance: Appliance, steps: Iterable[Payload]) -> Job:
    """A job that is in no store, from its steps."""
    from faultodds.job import Job, Step

    now = datetime.now(UTC)
    job = Job("unsaved", appliance.knowledge.appliance.id, appliance.revision, now)
    for number, payload in enumerate(steps, start=1):
        job = job.plus(Step(number, now, payload))
    return job


def plan_of(view: Standing, depth: int, nodes: int) -> Plan:
    """The whole plan from here; how far it is shows on a terminal."""
    from faultodds.advice.plan import make_plan
    from faultodds_cli.shared.progress import counted

    with counted("working out the plan") as tick:
        return make_plan(view.appliance, view.belief, view.situation, depth, nodes, tick)
