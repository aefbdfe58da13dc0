"""A small appliance with everything that learning meets: facts, equipment, brought-on faults, links, leaks, a table."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd

from faultodds.knowledge import overlay
from faultodds.knowledge.loading import from_mapping
from faultodds.knowledge.schema import Knowledge
from faultodds.knowledge.tables import Floats
from faultodds.tuning.draw import draw_log
from faultodds.tuning.places import numbers, places_of
from faultodds.tuning.structure import Structure, structure_of
from toys import raw_toy

WORTH = {
    "shares": 20.0,
    "facts": 12.0,
    "companions": 30.0,
    "links": 12.0,
    "tables": 12.0,
    "success": 10.0,
    "habits": 12.0,
}


@cache
def rich_toy() -> Knowledge:
    """Three parts, five main causes, 24 suspects when none is left out."""
    age = {
        "ask": "age?",
        "values": {"new": "n", "old": "o"},
        "usual": {"new": 1, "old": 2},
        "more_often": {"belt.broken": {"old": 3.0}, "pump": {"new": 2.0}},
    }
    kind = {
        "ask": "kind?",
        "values": {"full": "f", "bare": "b"},
        "usual": {"full": 3, "bare": 1},
        "lacks": {"bare": ["belt"]},
    }
    raw = raw_toy(context={"age": age}, equipment={"kind": kind})
    raw["component"]["pump"]["modes"]["dead"]["brings_on"] = {"fuse.open": 0.3}
    raw["check"]["pair"] = {
        "title": "pair",
        "outcomes": {"a": "a", "b": "b", "c": "c"},
        "minutes": 3,
        "depends_on": ["flow", "belt"],
        "table": {
            "good, ok": {"a": 0.9, "b": 0.1},
            "none, broken": {"a": 0.1, "b": 0.2, "c": 0.7},
            "other": {"a": 0.3, "b": 0.5, "c": 0.2},
        },
    }
    return from_mapping(raw, "rich toy")


@cache
def rich_structure() -> Structure:
    """The fixed side of a fit of the toy, with every suspect kept."""
    return structure_of(rich_toy(), 0.0)


def shop(seed: int, worth: dict[str, float] | None = None) -> tuple[Floats, Knowledge]:
    """A shop whose truth is drawn from the prior: its chances, and its knowledge."""
    s = rich_structure()
    rng = np.random.default_rng(seed)
    drawn = rng.standard_gamma(s.families.spread_strengths(worth or WORTH))
    theta = np.maximum(s.families.scaled(np.maximum(drawn, 1e-290)), 1e-30)
    return theta, overlay.apply(s.knowledge, numbers(places_of(s.knowledge, s.suspects, s.families), theta))


@cache
def toy_log(jobs: int = 120, seed: int = 3, missing: float = 0.5) -> pd.DataFrame:
    """A log drawn from the toy itself."""
    return draw_log(rich_toy(), jobs, seed, missing)
