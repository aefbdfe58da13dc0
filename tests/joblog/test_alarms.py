"""Alarms: what no shop has is said, what shops have is not."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog import alarms
from faultodds.joblog.drafts import draft, keep_proposal
from faultodds.joblog.importing import import_log
from faultodds.knowledge.loading import load
from faultodds.tuning.draw import draw_log
from shop_logs import write

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


def _log(path: Path, hours: tuple[str, ...]) -> Path:
    """Forty visits that took the `hours` in turn."""
    rows = (f"J{n},C{n},2022-01-{1 + n % 28:02},weak,coils,{hours[n % len(hours)]}" for n in range(40))
    return write(path / "jobs.csv", "\n".join(["ticket,cust,date,hood,parts,Hrs on site", *rows]) + "\n")


@pytest.mark.parametrize(
    ("hours", "said"),
    [
        (("38.0", "14.0", "22.0", "180.0"), "of its 40 cells 20 are over 8 hours, and 20 can be none"),
        (("1.5", "95.0", "180.0"), "of its 40 cells 26 can be none"),
        (("9", "1.5", "2"), "14 are over 8 hours"),
    ],
    ids=["prices", "mostly impossible", "long"],
)
def test_times_that_no_visit_takes_are_asked_about(hours: tuple[str, ...], said: str, tmp_path: Path) -> None:
    """Prices under a heading of hours are refused until somebody confirms the mapping; then the report begins with the alarm."""
    data = str(tmp_path / "data")
    drafted = draft(_log(tmp_path, hours), DRYER, data=data)
    with pytest.raises(FaultoddsError) as caught:
        import_log(drafted, DRYER, data=data)
    assert said in str(caught.value)
    assert "run the import with no --yes and answer n" in str(caught.value)
    kept = keep_proposal(drafted, data)
    with pytest.raises(FaultoddsError) as again:
        import_log(draft(drafted.path, DRYER, data=data), DRYER, data=data)
    assert f"The mapping is in {kept}: change it there" in str(again.value)
    kept.write_text(kept.read_text(encoding="utf-8").replace("confirmed = false", "confirmed = true"), encoding="utf-8")
    report = import_log(draft(drafted.path, DRYER, data=data), DRYER, data=data)
    assert said in report.alarms[0]


def test_a_slip_among_ordinary_times_alarms_nobody(tmp_path: Path) -> None:
    """One visit of two days' work, and one written twice as large as a day has hours."""
    data = str(tmp_path / "data")
    drafted = draft(_log(tmp_path, (*["1.5", "2", "0.75", "2.25"] * 4, "16", "950", "1", "2")), DRYER, data=data)
    assert not any("Hrs on site" in text for text in import_log(drafted, DRYER, data=data).alarms)
