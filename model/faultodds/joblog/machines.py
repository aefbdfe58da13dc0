"""Which machine a row of a log is about: a shop that mends several keeps them in one log."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

from faultodds.joblog.stems import REMEMBERED, tokens, trade
from faultodds.knowledge import Knowledge


def which(knowledge: Knowledge, text: str) -> Literal["mine", "other"] | None:
    """Whether a text names the appliance of the knowledge file or another machine; None when it names neither."""
    return _which(knowledge.appliance.id, text)


@lru_cache(REMEMBERED)
def _which(appliance: str, text: str) -> Literal["mine", "other"] | None:
    words = set(tokens(text, whole=True))
    kinds: tuple[Literal["other", "mine"], ...] = ("other", "mine")
    for kind in kinds:
        for phrase in trade(appliance).get("machine", {}).get(kind, []):
            if set(tokens(phrase, whole=True)) <= words:
                return kind
    return None
