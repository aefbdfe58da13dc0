"""What the base installation weighs, and what of it an extra could spare.

    python tests/benchmarks/bench_install.py

Sizes of the files that the installed packages list, without what is compiled at the first run.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement

PROJECT = Path(__file__).parents[2] / "pyproject.toml"


def needed(names: list[str]) -> set[str]:
    """Packages with all that they require, extras left out."""
    found: set[str] = set()
    todo = list(names)
    while todo:
        name = todo.pop().lower().replace("_", "-")
        try:
            requires = distribution(name).requires or []
        except PackageNotFoundError:
            continue
        if name not in found:
            found.add(name)
            wanted = [Requirement(each) for each in requires]
            todo += [each.name for each in wanted if not each.marker or each.marker.evaluate({"extra": ""})]
    return found


@cache
def _one(name: str) -> int:
    paths = [Path(str(f.locate())) for f in distribution(name).files or []]
    return sum(path.stat().st_size for path in paths if path.is_file())


def weight(names: set[str]) -> float:
    """Megabytes."""
    return sum(map(_one, names)) / 1e6


def main() -> None:
    """All, what pgmpy brings, and all without one of the others."""
    base = [Requirement(each).name for each in tomllib.loads(PROJECT.read_text())["project"]["dependencies"]]
    whole = needed(base)
    pgmpy = needed(["pgmpy"])
    print(f"base: {len(whole)} packages, {weight(whole):.0f} MB")
    print(f"of it pgmpy and what it requires: {len(pgmpy)} packages, {weight(pgmpy):.0f} MB")
    for name in base:
        spared = weight(whole) - weight(needed([each for each in base if each != name]))
        if spared >= 5:
            print(f"without {name}: {spared:.0f} MB less")


if __name__ == "__main__":
    main()
