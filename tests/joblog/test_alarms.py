"""Alarms: what no shop has is said, what shops have is not."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from faultodds.joblog import alarms
from faultodds.knowledge.loading import load
from faultodds.tuning.draw import draw_log

DRYER = load("gas_dryer")


@pytest.mark.parametrize("seed", range(3))
def test_logs_as_the_file_draws_them_alarm_nobody_and_a_word_read_wrongly_does(seed: int) -> None:
    """Of a log drawn from the file's own numbers, fully written down, nothing is said; with one outcome read for nearly all of a
    column's cells, that outcome is named."""
    log = draw_log(DRYER, 200, seed=seed, missing=0.3)
    odd: Counter[tuple[str, str]] = Counter()
    for name, record in DRYER.observables.items():
        if f"found:{name}" in log:
            seen = Counter(log[f"found:{name}"].dropna().astype(str))
            odd.update({(name, o): n for o, n in seen.items() if o in list(record.outcomes)[1:]})
    said = alarms.outcomes(odd, DRYER.symptom, len(log))
    assert said == []
    rng = np.random.default_rng(seed)
    name = str(rng.choice(list(DRYER.check)))
    outcome = list(DRYER.check[name].outcomes)[1]
    odd[name, outcome] = 120
    assert any(
        line.startswith(f"'{name}={outcome}' stands on 60 %") for line in alarms.outcomes(odd, DRYER.symptom, 200)
    )
    assert alarms.outcomes(odd, DRYER.symptom, 20) == []
