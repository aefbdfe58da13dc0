"""How a log is learned from: what the file's numbers are worth, what to forget, when to stop, who does the work."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from faultodds.errors import FaultoddsError, unknown

KINDS = ("shares", "facts", "companions", "links", "tables", "success", "habits")
AUTO: Literal["auto"] = "auto"
#: Jobs that the file's numbers are worth where nobody says. First guesses: common practice, no source.
WORTH: dict[str, float] = {
    "shares": 100.0,
    "facts": 60.0,
    "companions": 100.0,
    "links": 90.0,
    "tables": 90.0,
    "success": 40.0,
    "habits": 20.0,
}
LEAST_TARGET, MOST_TARGET = 0.0, 0.5


@dataclass(frozen=True)
class Settings:
    """Settings of one fit.

    `strengths`: for each of `KINDS`, how many jobs the file's numbers are worth; kinds left out take `WORTH`. With "auto" all
    do but the shares, and how far the log's shares are believed is measured on the log (`holding.py`). `half_life_days`: a job
    this old counts half (None: every job counts one). `omitted_target`: prior mass of the sets of faults that may be left out.
    `iterations`, `tolerance`: the fit stops after so many passes, or when a step would add under `tolerance` to the log
    posterior per job. `workers`: threads. `scheduler`: address of a Dask scheduler (None:
    this machine). `recentre`: fit the shop's own spread of every context fact for all faults together first. `seed`: for random
    draws.
    """

    strengths: Mapping[str, float] | Literal["auto"] = AUTO
    half_life_days: float | None = None
    omitted_target: float = 5e-3
    iterations: int = 60
    tolerance: float = 5e-5
    workers: int = 1
    scheduler: str | None = None
    recentre: bool = True
    seed: int = 0

    def __post_init__(self) -> None:
        """Refuse settings that mean nothing, naming the setting."""
        if self.strengths != AUTO:
            _check_strengths(self.strengths)
        if self.half_life_days is not None:
            _check("half_life_days", self.half_life_days, 0.0, math.inf, open_low=True)
        _check("omitted_target", self.omitted_target, LEAST_TARGET, MOST_TARGET)
        _check("iterations", self.iterations, 1, math.inf)
        _check("tolerance", self.tolerance, 0.0, math.inf)
        _check("workers", self.workers, 1, 1024)

    def worth(self) -> dict[str, float]:
        """Strength of every kind, with `WORTH` where none is set; with "auto", where the choosing starts."""
        return {**WORTH, **(self.strengths if self.strengths != AUTO else {})}

    def replace(self, **changes: object) -> Settings:
        """The same settings with some changed."""
        return dataclasses.replace(self, **changes)  # type: ignore[arg-type]


def _check_strengths(strengths: object) -> None:
    if not isinstance(strengths, Mapping):
        raise FaultoddsError(f"strengths: found {strengths!r}; write 'auto', or jobs for each of: {', '.join(KINDS)}.")
    for kind, jobs in strengths.items():
        if kind not in KINDS:
            raise unknown("kind of number", kind, KINDS)
        _check(f"strengths: {kind}", jobs, 0.0, math.inf, open_low=True)


def _check(name: str, found: float, low: float, high: float, open_low: bool = False) -> None:
    fits = low < found <= high if open_low else low <= found <= high
    if not fits or math.isinf(found):
        bound = f"above {low:g}" if open_low else f"{low:g} or more"
        raise FaultoddsError(
            f"{name}: found {found!r}; it is {bound}" + (f" and at most {high:g}." if high < math.inf else ".")
        )
