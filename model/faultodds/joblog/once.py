"""What is worked out of a knowledge file alone, worked out once for each file and not for every column of a log."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Hashable
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from faultodds.knowledge import Knowledge

More = ParamSpec("More")
Found = TypeVar("Found")


def once(work: Callable[Concatenate[Knowledge, More], Found]) -> Callable[Concatenate[Knowledge, More], Found]:
    """`work`, done once for each knowledge file and whatever else is given. A file is told by which it is, not by what it says:
    none is changed once it is read. What was found is forgotten with it, and is not to be written into."""
    done: dict[int, dict[Hashable, Found]] = {}

    @wraps(work)
    def kept(knowledge: Knowledge, *more: More.args, **named: More.kwargs) -> Found:
        which = id(knowledge)
        if which not in done:
            done[which] = {}
            weakref.finalize(knowledge, done.pop, which)
        known: dict[Any, Found] = done[which]
        asked = (more, *sorted(named.items()))
        if asked not in known:
            known[asked] = work(knowledge, *more, **named)
        return known[asked]

    return kept
