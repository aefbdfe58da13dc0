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
                f"Add '{missing}', or leave '{item}' out."
            )
