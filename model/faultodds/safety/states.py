"""Machine states that may be told to the program: nothing is open that has not been made safe first."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from faultodds.errors import FaultoddsError

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge


def refuse_unsafe_state(knowledge: Knowledge, open_now: Collection[str]) -> None:
    """Raise FaultoddsError when an access item is open without one that it requires: a panel off a machine that is live."""
    for item in sorted(open_now):
        missing = next((r for r in knowledge.access[item].requires if r not in open_now), None)
        if missing is not None:
            raise FaultoddsError(
                f"'{item}' cannot be open without '{missing}': {knowledge.access[missing].open_step} "
                f"Then say so: '{missing}'."
            )


def made_safe(knowledge: Knowledge, open_now: Collection[str]) -> frozenset[str]:
    """What would have to be open or shut off for these to be open."""
    found = set(open_now)
    while more := {need for item in found for need in knowledge.access[item].requires} - found:
        found |= more
    return frozenset(found)


def safety_items(knowledge: Knowledge) -> frozenset[str]:
    """Access items whose state can hurt somebody who takes it for the other one: what shuts a hazard off, what opens only behind
    a shut-off, what lets a hazard out."""
    items = knowledge.access.items()
    shut_offs = {name for name, item in items if item.makes_safe}
    return frozenset(n for n, item in items if item.makes_safe or item.lets_out or shut_offs & set(item.requires))
