"""Exact inference by pgmpy on the network of a knowledge file: what tests and benchmarks hold the arrays against."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np

from faultodds.belief.evidence import Evidence
from faultodds.belief.suspects import Suspects
from faultodds.knowledge import OK


def hard_evidence(suspects: Suspects, evidence: Evidence) -> dict[str, str]:
    """Evidence as node-state pairs of the network; for evidence with no repairs and no uncertain findings.

    Equipment facts also say that what this machine does not have is sound.
    """
    pairs = dict(evidence.facts)
    for fact, value in evidence.facts.items():
        for mode in suspects.lacks.get(fact, {}).get(value, ()):
            pairs[mode.partition(".")[0]] = OK
    for s in evidence.seen:
        (pairs[s.name],) = s.weights
    return pairs


def exact_mode_odds(
    network: Any, suspects: Suspects, pairs: Mapping[str, str], chunk: int = 12
) -> np.ndarray[Any, Any]:
    """(M,) mode odds by pgmpy's variable elimination, asked in chunks of components (its cleverest use)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.inference import VariableElimination

    engine = VariableElimination(network)
    wanted = [c for c in suspects.components if c not in pairs]
    odds = np.zeros(len(suspects.modes))
    for start in range(0, len(wanted), chunk):
        asked = wanted[start : start + chunk]
        answers = engine.query(asked, evidence=dict(pairs), joint=False, show_progress=False)
        for component in asked:
            factor = answers[component]
            for state, chance in zip(factor.state_names[component], factor.values, strict=True):
                if state != OK:
                    odds[suspects.mode_index[f"{component}.{state}"]] = chance
    return odds
