"""What was advised once, kept for the many calls of the suite that begin alike.

The same inputs give the same advice (a test of its own); they are told apart by all that advice rests on. While a test has
changed anything in the code that advises, nothing is kept, and nothing kept is used: a planted mistake is seen.
"""

from __future__ import annotations

import hashlib
import inspect
import pkgutil
from importlib import import_module
from typing import Any

import faultodds
from faultodds.advice import Advice, Situation, advise
from faultodds.belief import Appliance, Belief

ROOMS = ("advice", "belief", "safety", "knowledge", "readings", "names")


class KeptAdvice:
    """`advise`, each once."""

    def __init__(self) -> None:
        self._kept: dict[bytes, Advice] = {}
        self._code = [(owner, dict(vars(owner))) for owner in _owners()]

    def __call__(self, appliance: Appliance, belief: Belief, situation: Situation) -> Advice:
        if self._changed():
            return advise(appliance, belief, situation)
        told = repr((appliance.knowledge, belief.evidence, situation)).encode()
        rows = (belief.now, belief.predictions, belief.mode_odds)
        key = hashlib.sha256(b"".join((told, *(row.tobytes() for row in rows)))).digest()
        if key not in self._kept:
            self._kept[key] = advise(appliance, belief, situation)
        return self._kept[key]

    def _changed(self) -> bool:
        return any(vars(owner).get(name) is not thing for owner, had in self._code for name, thing in had.items())


def _owners() -> list[Any]:
    """The modules of the rooms that advice rests on, and their classes."""
    every = [m.name for m in pkgutil.walk_packages(faultodds.__path__, "faultodds.") if m.name.split(".")[1] in ROOMS]
    modules = [import_module(name) for name in every]
    classes = [c for m in modules for c in vars(m).values() if inspect.isclass(c) and c.__module__ == m.__name__]
    return [*modules, *classes]
