"""Where each learned chance goes in a knowledge file: paths for `overlay.apply`, and the scale of the number that stands there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from faultodds.belief import Suspects
from faultodds.knowledge import NOTHING_WRONG, UNLISTED, UNLISTED_MODE, Floats, Knowledge
from faultodds.tuning.families import UNFILED, Families


@dataclass(frozen=True)
class Place:
    """Where a number of the file comes from: `scale` times the mean of these entries; `family` says whose total is behind it."""

    entries: tuple[int, ...]
    scale: float
    families: tuple[int, ...]

    def of(self, theta: Floats) -> Floats:
        """The number at one vector of chances (P,), or at several (draws, P)."""
        return np.asarray(np.minimum(self.scale * theta[..., list(self.entries)].mean(axis=-1), self.most))

    @property
    def most(self) -> float:
        """A mean of chances cannot pass 1, whatever it is scaled by."""
        return 1.0 if len(self.entries) > 1 else np.inf


def places_of(knowledge: Knowledge, suspects: Suspects, families: Families) -> dict[str, Place]:
    """Every number of the file that is learned, by its path for `overlay.apply`, in file order.

    Shares keep the file's sum; factors of `more_often` keep the file's scale (a factor is the learned chance over the usual one,
    times what the file's column added up to). Repair habits come back as means, since a file has one number for them all.
    """
    out: dict[str, Place] = {}
    done: dict[str, list[int]] = {"done_if_needed": [], "done_anyway": []}
    for family, name in enumerate(families.names):
        if name.startswith(UNFILED):
            continue
        first = int(families.start[family])
        entry = {o: first + i for i, o in enumerate(families.outcomes[family])}
        if name.startswith("log/done/"):
            done["done_anyway" if name.endswith("/leak") else "done_if_needed"].append(entry["done"])
            continue
        for path, outcome, scale in _written(knowledge, suspects, name, list(entry)):
            out[path] = Place((entry[outcome],), scale, (family,))
    for field, entries in done.items():
        if entries:
            scale = getattr(knowledge.log, field) / float(families.prior[entries].mean())
            out[f"log/{field}"] = Place(tuple(entries), scale, tuple(int(families.of[e]) for e in entries))
    return out


def numbers(places: Mapping[str, Place], theta: Floats) -> dict[str, float]:
    """What `theta` (P,) says of every path."""
    return {path: float(place.of(theta)) for path, place in places.items()}


def _written(
    knowledge: Knowledge, suspects: Suspects, name: str, outcomes: Sequence[str]
) -> Iterator[tuple[str, str, float]]:
    """(path, outcome, scale) for every number that a family is written back as."""
    group, _, rest = name.partition("/")
    if name == "shares":
        other = knowledge.other_causes
        per = sum(r.share for _, r in knowledge.modes()) + other.nothing_wrong + other.unlisted
        yield from ((share_path(main), main, per) for main in suspects.mains if main in outcomes)
    elif group == "context":
        yield from _fact_numbers(knowledge, *rest.split("/"))
    elif group == "component":
        yield from _state_numbers(rest, outcomes)
    elif group == "repair":
        yield name, "takes", 1.0
    elif group == "log":
        yield name, "comes_back", 1.0
    else:
        yield from _part_numbers(knowledge, name, outcomes)


def share_path(main: str) -> str:
    """Where the share of a main cause stands."""
    if main in (NOTHING_WRONG, UNLISTED_MODE):
        return f"other_causes/{UNLISTED if main == UNLISTED_MODE else main}"
    component, _, mode = main.partition(".")
    return f"component/{component}/modes/{mode}/share"


def _fact_numbers(knowledge: Knowledge, fact: str, main: str) -> Iterator[tuple[str, str, float]]:
    """Factors for one main cause, beside those that the file has for its whole component."""
    record = knowledge.context[fact]
    key = UNLISTED if main == UNLISTED_MODE else main
    whole = record.more_often.get(main.partition(".")[0], {}) if key == main != NOTHING_WRONG else {}
    own = record.more_often.get(key, {})
    usual = {v: record.usual[v] * whole.get(v, 1.0) for v in record.values}
    scale = sum(usual[v] * own.get(v, 1.0) for v in record.values)
    yield from ((f"context/{fact}/more_often/{key}/{v}", v, scale / usual[v]) for v in record.values)


def _state_numbers(rest: str, outcomes: Sequence[str]) -> Iterator[tuple[str, str, float]]:
    component, _, main = rest.partition("/")
    bringer, _, mode = main.partition(".")
    for m in outcomes:
        if m == "ok":
            continue
        if main:
            yield f"component/{bringer}/modes/{mode}/brings_on/{component}.{m}", m, 1.0
        else:
            yield f"component/{component}/modes/{m}/companion", m, 1.0


def _part_numbers(knowledge: Knowledge, name: str, outcomes: Sequence[str]) -> Iterator[tuple[str, str, float]]:
    group, observable, field, *key = name.split("/")
    record: Any = getattr(knowledge, group)[observable]
    written = getattr(record, field)
    written = written[key[0]] if key else written
    normal = next(iter(record.outcomes))
    whole = field == "table" or (isinstance(written, dict) and normal in written)
    yield from ((f"{name}/{o}", o, 1.0) for o in outcomes if whole or o != normal)
