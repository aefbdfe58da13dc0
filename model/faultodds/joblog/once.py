"""What is worked out of a knowledge file alone, worked out once for each file and not for every column of a log."""

from __future__ import annotations

import weakref
from collections.abc import Callable, Hashable
from functools import wraps
from typing import Any, TypeVar, cast

from faultodds.knowledge import Knowledge

Work = TypeVar("Work", bound=Callable[..., Any])


def once(work: Work) -> Work:
    """`work`, done once for each knowledge file and whatever else is given. A file is told by which it is, not by what it says:
    none is changed once it is read. What was found is forgotten with it, and is not to be written into."""
    done: dict[int, dict[Hashable, Any]] = {}

    @wraps(work)
    def kept(knowledge: Knowledge, *more: Hashable) -> Any:
        which = id(knowledge)
        if which not in done:
            done[which] = {}
            weakref.finalize(knowledge, done.pop, which)
        known = done[which]
        if more not in known:
            known[more] = work(knowledge, *more)
        return known[more]

    return cast(Work, kept)
