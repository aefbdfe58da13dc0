"""Moments of a job, and what was known when."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, strategies as st

from coded_logs import LOG
from faultodds.audit.stages import STAGES, Stage, as_known_on, chosen, order_of_checks, seen_by
from faultodds.errors import FaultoddsError
from faultodds.knowledge.loading import load

DRYER = load("gas_dryer")
CHECKS = [f"found:{n}" for n in DRYER.check]


def test_checks_come_in_the_order_of_their_minutes_from_a_closed_up_machine() -> None:
    """A look at the gas cock comes before the meter on a part behind the panel, whatever the file's order."""
    order = order_of_checks(DRYER)
    assert sorted(order) == sorted(DRYER.check)
    assert order.index("gas_cock_look") < order.index("hood_flap") < order.index("igniter_ohms")
    assert order.index("coil_ohms") < order.index("cycling_bench_heat")


@pytest.mark.parametrize("stage", STAGES, ids=lambda s: s.name)
def test_a_stage_shows_its_checks_and_nothing_of_the_end(stage: Stage) -> None:
    """At most that many checks a job, the facts and symptoms untouched, no repair, no result."""
    seen = seen_by(LOG, DRYER, stage)
    done = LOG[[c for c in CHECKS if c in LOG]].notna().sum(axis=1)
    shown = seen[[c for c in CHECKS if c in seen]].notna().sum(axis=1)
    limit = np.inf if stage.checks is None else stage.checks
    assert (shown == np.minimum(done, limit)).all()
    assert all(c.startswith(("fact:", "found:")) for c in seen)
    intake = [c for c in seen if c not in CHECKS]
    assert seen[intake].equals(LOG[intake])


def test_stages_nest() -> None:
    """What was known after two checks is still known after four."""
    two, four = (seen_by(LOG, DRYER, Stage("", n)) for n in (2, 4))
    known = two.notna()
    assert ((two == four) | ~known).to_numpy().all()


def test_the_log_itself_is_never_changed() -> None:
    """Masking works on a copy."""
    before = LOG.copy()
    seen_by(LOG, DRYER, STAGES[0])
    as_known_on(LOG, LOG["day"].iloc[100])
    assert LOG.equals(before)


@given(st.integers(1, 400))
def test_nothing_that_happened_later_is_known(days: int) -> None:
    """On a given day: earlier visits only, followed no longer than until then, and no call-back that was still to come."""
    day = LOG["day"].min() + pd.Timedelta(days=days)
    past = as_known_on(LOG, day)
    assert (past["day"] < day).all()
    assert len(past) == (LOG["day"] < day).sum()
    since = (day - past["day"]).dt.days
    assert (past["followed_days"] <= since).all()
    back = past["ended"] == "came_back"
    assert (past.loc[back, "back_after_days"] < since[back]).all()
    assert past.loc[~back, "back_after_days"].isna().all()


def test_stages_are_read_from_words() -> None:
    """Stages come in the order of a job, each once."""
    assert chosen(None) == STAGES
    assert [s.title for s in chosen("all, 1,complaint,1,12")] == [
        "after the complaint",
        "after 1 check",
        "after 12 checks",
        "after all checks",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "--stages names no stage. Type for example --stages complaint,2,all."),
        ("two", "--stages two: a stage is 'complaint', a number of checks, or 'all'."),
        ("-1", "--stages -1: a stage is 'complaint', a number of checks, or 'all'."),
    ],
)
def test_stages_that_are_none_are_refused(text: str, said: str) -> None:
    """The message says what a stage is and what to type."""
    with pytest.raises(FaultoddsError) as caught:
        chosen(text)
    assert str(caught.value).startswith(said)
