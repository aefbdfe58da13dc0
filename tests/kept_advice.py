"""What was advised once, kept for the many calls of the suite that begin alike, in a folder that all processes of a run share.

The same inputs give the same advice (a test of its own); they are told apart by all that advice rests on. While a test has
changed anything in the code that advises, nothing is kept, and nothing kept is used: a planted mistake is seen. As a program it is
`faultodds` in a process of its own that shares the folder: `python tests/kept_advice.py FOLDER ARGUMENTS`.
"""

from __future__ import annotations

import hashlib
import inspect
import os
import pickle
import pkgutil
import sys
from collections.abc import Collection
from importlib import import_module
from pathlib import Path
from typing import Any

import faultodds
from faultodds.advice import Advice, Situation, advise
from faultodds.belief import Appliance, Belief

ROOMS = ("advice", "belief", "safety", "knowledge", "readings", "names")


class KeptAdvice:
    """`advise`, each once. In `rooms` something may be changed by a test."""

    def __init__(self, folder: Path, rooms: Collection[str] = ROOMS) -> None:
        self._folder = folder
        self._kept: dict[str, Advice] = {}
        self._code = [(owner, dict(vars(owner))) for owner in _owners(rooms)]

    def __call__(self, appliance: Appliance, belief: Belief, situation: Situation) -> Advice:
        if self._changed():
            return advise(appliance, belief, situation)
        told = repr((appliance.knowledge, belief.evidence, situation)).encode()
        rows = (belief.now, belief.predictions, belief.mode_odds)
        key = hashlib.sha256(b"".join((told, *(row.tobytes() for row in rows)))).hexdigest()
        if key not in self._kept:
            self._kept[key] = self._on_disk(key) or self._put(key, advise(appliance, belief, situation))
        return self._kept[key]

    def _on_disk(self, key: str) -> Advice | None:
        try:
            found: Advice = pickle.loads((self._folder / key).read_bytes())
        except FileNotFoundError:
            return None
        return found

    def _put(self, key: str, advice: Advice) -> Advice:
        new = self._folder / f"{key}.{os.getpid()}"
        new.write_bytes(pickle.dumps(advice))
        new.replace(self._folder / key)
        return advice

    def _changed(self) -> bool:
        return any(vars(owner).get(name) is not thing for owner, had in self._code for name, thing in had.items())


def _owners(rooms: Collection[str]) -> list[Any]:
    """The modules of some rooms, and their classes."""
    walked = pkgutil.walk_packages(faultodds.__path__, "faultodds.") if rooms else ()
    every = [m.name for m in walked if m.name.split(".")[1] in rooms]
    modules = [import_module(name) for name in every]
    classes = [c for m in modules for c in vars(m).values() if inspect.isclass(c) and c.__module__ == m.__name__]
    return [*modules, *classes]


def main() -> None:
    """A command line behind the folder; nothing is changed in such a process."""
    from faultodds.job import standing
    from faultodds_cli.main import run

    vars(standing)["advise"] = KeptAdvice(Path(sys.argv[1]), rooms=())
    sys.exit(run(sys.argv[2:]))


if __name__ == "__main__":
    main()
