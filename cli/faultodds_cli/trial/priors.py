"""Priors side by side: the same calls, the same prices, the policy of `faultodds next`, only the numbers believed differ.

Priors are named by `file` (the knowledge file's own), `accepted` (the shop's accepted revision), `true` (the simulated shop's own
shares of main causes, counted on other calls than those played), the id of a revision, or the path of a knowledge file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from faultodds.errors import FaultoddsError

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.knowledge import Knowledge, Work

FILE, ACCEPTED, TRUE = "file", "accepted", "true"
#: Simulated calls on which the true shares are counted, and the stream of random numbers they come from: no seed of a trial.
COUNTED, COUNT_STREAM = 20_000, 2**40 + 1
#: A cause that none of those calls had counts as this many, so that nothing is believed impossible.
UNMET = 0.5


@dataclass(frozen=True)
class Priors:
    """Numbers to believe: a knowledge file, perhaps a revision over it, perhaps `numbers` (path, value) over both."""

    name: str
    appliance: str
    revision: str | None
    numbers: tuple[tuple[str, float], ...] = ()

    def open(self) -> Appliance:
        """The compiled appliance that believes them."""
        from faultodds.belief import compiled, open_appliance

        base = open_appliance(self.appliance, revision=self.revision)
        if not self.numbers:
            return base
        from faultodds.knowledge import apply

        laid = compiled(apply(base.knowledge, dict(self.numbers)))
        return replace(laid, fingerprint=base.fingerprint, revision=self.name)


def parse(text: str, appliance: str, town: int = 0) -> tuple[Priors, ...]:
    """Priors from "file,accepted,2026-11-25-a,other.toml". Raises FaultoddsError for none, or for one named twice."""
    names = [word.strip() for word in text.split(",") if word.strip()]
    if not names or len(set(names)) < len(names):
        raise FaultoddsError(
            f"--priors {text}: name one or more, each once: file, accepted, true, the id of a revision, or the path of a "
            "knowledge file. Type for example --priors file,accepted."
        )
    return tuple(_named(name, appliance, town) for name in names)


def _named(name: str, appliance: str, town: int) -> Priors:
    if name == FILE:
        return Priors(name, appliance, FILE)
    if name == ACCEPTED:
        return Priors(name, appliance, None)
    if name == TRUE:
        return Priors(name, appliance, FILE, true_shares(town))
    if name.endswith(".toml") or Path(name).exists():
        return Priors(name, name, FILE)
    return Priors(name, appliance, name)


def true_shares(town: int = 0) -> tuple[tuple[str, float], ...]:
    """Paths and values of the simulated shop's main-cause shares in a town, per 100 calls."""
    import numpy as np

    from faultodds_sim.cases import draw_cases
    from faultodds_sim.hazards import MODE_NAMES
    from faultodds_sim.names import NOTHING, UNLISTED

    rng = np.random.default_rng(COUNT_STREAM)
    block = 4000
    counts = np.zeros(len(MODE_NAMES))
    for _ in range(COUNTED // block):
        counts += np.bincount(draw_cases(block, rng, 30.0, 90.0, town=town).main, minlength=len(MODE_NAMES))
    share = 100.0 * np.maximum(counts, UNMET) / COUNTED
    where = {NOTHING: "other_causes/nothing_wrong", UNLISTED: "other_causes/unlisted"}
    return tuple((where.get(n) or _path(n), float(s)) for n, s in zip(MODE_NAMES, share, strict=True))


def _path(mode: str) -> str:
    component, _, name = mode.partition(".")
    return f"component/{component}/modes/{name}/share"


def must_pay_alike(opened: Sequence[tuple[str, Knowledge]]) -> None:
    """Raise FaultoddsError when prices or minutes differ between priors: the costs would then not be comparable."""
    first_name, first = opened[0]
    for name, other in opened[1:]:
        what = _paid_differently(first, other)
        if what:
            raise FaultoddsError(
                f"--priors: '{name}' and '{first_name}' differ in what {what} costs or takes, so that the cost of a job under "
                "one cannot be held against the other. Give both the same [costs], [access], minutes and prices."
            )


def _paid_differently(one: Knowledge, other: Knowledge) -> str:
    if one.costs != other.costs:
        return "labour, travel, a callback or handing over"
    groups = (("access to", one.access, other.access), ("", one.check, other.check), ("", one.repair, other.repair))
    for word, here, there in groups:
        if list(here) != list(there):
            return f"{word} the work listed (not the same work in both)".strip()
        for name in here:
            if _price(here[name]) != _price(there[name]):
                return f"{word} '{name}'".strip()
    return ""


def _price(record: object) -> object:
    from faultodds.knowledge import Access, Check, Repair

    if isinstance(record, Access):
        return record
    assert isinstance(record, Check | Repair)
    work: Work = record
    return work.minutes, work.cost, work.access, work.closed, work.running, getattr(record, "fixes", None)
