"""The model's forecast for many jobs at once, held against the library's own belief and against exact inference."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, strategies as st

from coded_logs import LOG
from faultodds.audit.forecast import Gaps, Hush, main_cause_odds
from faultodds.audit.methods import FLOOR, OMITTED_TARGET, floored
from faultodds.audit.stages import STAGES, seen_by
from faultodds.belief.evidence import Evidence, WeighedFinding
from faultodds.belief.posterior import infer
from faultodds.belief.suspects import compile_suspects
from faultodds.errors import UnknownName
from faultodds.knowledge.loading import load
from faultodds.knowledge.network import build_network
from faultodds.knowledge.tables import MAIN_CAUSE, identifier
from toys import random_toy

DRYER = load("gas_dryer")


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_main_cause_odds_equal_exact_inference(seed: int) -> None:
    """Facts, equipment, sure findings and gaps on a small appliance: the same as pgmpy's variable elimination to 1e-9."""
    from pgmpy.inference import VariableElimination

    knowledge = random_toy(seed, 4)
    suspects = compile_suspects(knowledge, 0.0)
    frame = pd.DataFrame(
        {
            "fact:age": ["old", None, "new"],
            "fact:kind": ["full", None, "full"],
            "found:look0": ["high", "normal", None],
            "found:slow": ["yes", None, "no"],
            "found:pair": [None, "b", "a"],
        }
    )
    found = main_cause_odds(suspects, frame)
    exact = VariableElimination(build_network(knowledge))
    for row, odds in zip(frame.to_dict("records"), found, strict=True):
        evidence = {str(k).partition(":")[2]: v for k, v in row.items() if isinstance(v, str)}
        posterior = exact.query([MAIN_CAUSE], evidence, show_progress=False)
        known = dict(zip(posterior.state_names[MAIN_CAUSE], posterior.values, strict=True))
        assert odds == pytest.approx([known[identifier(main)] for main in suspects.mains], abs=1e-9)


def test_equipment_a_machine_lacks_is_ruled_out_as_belief_rules_it_out() -> None:
    """With equipment known and split findings, total odds of the evidence are those of `infer`."""
    suspects = compile_suspects(DRYER, 5e-3)
    frame = pd.DataFrame(
        {"fact:control": ["timer"], "found:heat": ["none"], "found:igniter_ohms": ["open:0.7|normal:0.3"]}
    )
    odds = dict(zip(suspects.mains, main_cause_odds(suspects, frame)[0], strict=True))
    seen = (WeighedFinding("heat", {"none": 1.0}), WeighedFinding("igniter_ohms", {"open": 0.7, "normal": 0.3}))
    belief = infer(suspects, Evidence({"control": "timer"}, seen))
    mode = dict(zip(suspects.modes, belief.mode_odds, strict=True))
    assert odds["board.heat_relay_open"] == 0.0
    # A mode is present when it is the main cause, or beside another one: never less likely than as the main cause.
    for name in suspects.modes:
        assert odds[name] <= mode[name] + 1e-12
    assert odds["igniter.open"] == pytest.approx(mode["igniter.open"], abs=0.01)


def test_what_an_audit_leaves_out_hardly_moves_a_forecast() -> None:
    """The coarser compilation of audits is within .012 of the everyday one for every job and cause, .0005 on average."""
    fine, coarse = (compile_suspects(DRYER, target) for target in (3e-4, OMITTED_TARGET))
    seen = seen_by(LOG.iloc[:60], DRYER, STAGES[-1])
    apart = np.abs(main_cause_odds(fine, seen) - main_cause_odds(coarse, seen))
    assert apart.max() < 0.012
    assert apart.mean() < 5e-4


def test_batches_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Jobs are forecast alone: how many are worked on at a time does not show."""
    suspects = compile_suspects(DRYER, 5e-3)
    seen = seen_by(LOG.iloc[:40], DRYER, STAGES[-1])
    whole = main_cause_odds(suspects, seen)
    monkeypatch.setattr("faultodds.audit.forecast.BATCH", 7)
    assert main_cause_odds(suspects, seen) == pytest.approx(whole, abs=1e-12)
    assert whole.sum(axis=1) == pytest.approx(1.0)


def test_findings_that_nothing_explains_do_not_stop_an_audit() -> None:
    """A contradictory row still gets chances that add up to 1."""
    raw = random_toy(1, 3)
    suspects = compile_suspects(raw, 0.0)
    frame = pd.DataFrame({"fact:kind": ["bare"], "found:look0": ["high:1|mid:1"]})
    odds = main_cause_odds(suspects, frame)
    assert np.isfinite(odds).all() and odds.sum() == pytest.approx(1.0)


def test_an_unknown_outcome_is_refused_with_the_nearest_name() -> None:
    """A log that does not fit the knowledge file is an error, never a guess."""
    suspects = compile_suspects(DRYER, 5e-3)
    with pytest.raises(UnknownName, match=r"no outcome of 'heat' called 'nonne'. Did you mean 'none'"):
        main_cause_odds(suspects, pd.DataFrame({"found:heat": ["nonne"]}))
    with pytest.raises(UnknownName, match=r"no value of 'fuel' called 'propan'. Did you mean 'propane'"):
        main_cause_odds(suspects, pd.DataFrame({"fact:fuel": ["propan"]}))


@given(st.integers(0, 10_000))
def test_every_forecast_has_the_same_floor(seed: int) -> None:
    """After the floor nothing is impossible, rows still sum to 1, and the order of the chances is kept."""
    p = np.random.default_rng(seed).dirichlet(np.full(7, 0.2), 9)
    q = floored(p)
    assert q.sum(axis=1) == pytest.approx(1.0)
    assert q.min() >= FLOOR / 7 - 1e-15
    assert (np.argsort(q, axis=1, kind="stable") == np.argsort(p, axis=1, kind="stable")).all()


def test_what_a_log_never_writes_down_can_be_read_between_the_lines() -> None:
    """With a symptom of which only bad results are written down, a blank speaks against its faults; not where the machine lacks the
    part, nor where a result stands.
    """
    suspects = compile_suspects(DRYER, 5e-3)
    frame = pd.DataFrame(
        {
            "fact:control": ["board", "board", "timer", None],
            "found:dry_time": ["longer"] * 4,
            "found:drum_still": [None, "yes", None, None],
            "found:code_airflow": [None, "yes", None, None],
        }
    )
    plain = main_cause_odds(suspects, frame)
    belt = suspects.mains.index("belt.broken")
    still = main_cause_odds(suspects, frame, Gaps({"drum_still": Hush(0.0, 0.9, {})}, {}))
    assert still[1] == pytest.approx(plain[1])
    assert (still[[0, 2, 3], belt] < 0.5 * plain[[0, 2, 3], belt]).all()
    code = main_cause_odds(suspects, frame, Gaps({"code_airflow": Hush(0.0, 0.9, {"control": "board"})}, {}))
    assert code[1:] == pytest.approx(plain[1:])
    duct = suspects.mains.index("duct.nearly_blocked")
    assert code[0, duct] < plain[0, duct] - 0.01


def test_reading_between_the_lines_is_exact() -> None:
    """A blank weighs 1 - done * (P(bad) + told * P(normal)), worked out here suspect by suspect."""
    knowledge = random_toy(2, 3)
    suspects = compile_suspects(knowledge, 0.0)
    normal = suspects.likelihood[suspects.rows["slow"].start]
    blank = 1.0 - 0.7 * ((1.0 - normal) + 0.1 * normal)
    joint = suspects.share * (suspects.given_main @ blank)
    frame = pd.DataFrame({"found:slow": [None], "found:look0": [None]})
    odds = main_cause_odds(suspects, frame, Gaps({"slow": Hush(0.07, 0.7, {})}, {}))
    assert odds[0] == pytest.approx(joint / joint.sum())
