"""A whole fit: it goes uphill, it finds what is there, it says what it cannot know."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings, strategies as st

from faultodds.errors import FaultoddsError, UnknownName
from faultodds.joblog import clean
from faultodds.knowledge import overlay
from faultodds.knowledge.schema import Knowledge
from faultodds.tuning.draw import draw_log
from faultodds.tuning.encode import Encoder, callbacks
from faultodds.tuning.fitting import Learned, fit
from faultodds.tuning.settings import Settings
from faultodds.tuning.statistics import statistics
from rich_toy import WORTH, rich_structure, rich_toy, shop, toy_log

FULL = Settings(strengths=WORTH, omitted_target=0.0)
SHARES = ["component/pump/modes/dead/share", "component/pump/modes/weak/share", "component/belt/modes/broken/share"]


def _off(learned: Learned | Knowledge, truth: Knowledge) -> float:
    """Largest distance of a share from the truth, in hundredths of all calls."""
    found = learned.knowledge if isinstance(learned, Learned) else learned
    return max(abs(overlay.value(found, p) - overlay.value(truth, p)) for p in SHARES)


def _belts(log: pd.DataFrame) -> float:
    """Expected number of broken belts in a log, at the file's numbers."""
    s = rich_structure()
    found = statistics(s, Encoder(s).encode(log), s.families.prior)
    return float(found.counts[s.families.entry("shares", "belt.broken")])


@settings(max_examples=12)
@given(seed=st.integers(0, 10_000), jobs=st.integers(1, 80), missing=st.floats(0.0, 0.95))
def test_the_objective_never_falls(seed: int, jobs: int, missing: float) -> None:
    """Whatever the shop, the size of its log and its gaps, no pass lowers the log posterior."""
    theta, truth = shop(seed)
    log = draw_log(truth, jobs, seed, missing, theta=theta)
    learned = fit(rich_toy(), log, FULL)
    trace = np.array(learned.log_posterior)
    assert (np.diff(trace) >= -1e-5 * np.abs(trace[1:])).all()
    assert learned.jobs + learned.set_aside == jobs


def test_lengthened_steps_lead_to_the_same_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """Anderson's acceleration is at least twice as quick and ends where plain steps end."""
    theta, truth = shop(5)
    log = draw_log(truth, 200, 5, 0.5, theta=theta)
    patient = FULL.replace(iterations=400, tolerance=1e-9)
    quick = fit(rich_toy(), log, patient)
    monkeypatch.setattr("faultodds.tuning.ascent.Moves.lengthened", lambda moves, worth, theta, plain: plain)
    plain = fit(rich_toy(), log, patient)
    assert 2 * len(quick.log_posterior) < len(plain.log_posterior)
    assert quick.log_posterior[-1] == pytest.approx(plain.log_posterior[-1], abs=1e-3)
    np.testing.assert_allclose(quick.theta, plain.theta, atol=5e-3)


def test_a_log_with_enough_jobs_gives_the_truth_back() -> None:
    """From 3,000 jobs with half the cells missing, and checks as reliable as the file says, shares come within 2 in 100 of a
    truth that is over 20 from the file."""
    truth = overlay.apply(
        rich_toy(), dict(zip([*SHARES, "component/fuse/modes/open/share"], [8.0, 37.0, 30.0, 10.0], strict=True))
    )
    known = FULL.replace(strengths={**WORTH, "links": 1e6, "tables": 1e6})
    learned = fit(rich_toy(), draw_log(truth, 3000, 2, 0.5), known)
    assert _off(rich_toy(), truth) > 20
    assert _off(learned, truth) < 2


def test_a_small_log_moves_little() -> None:
    """Two jobs cannot turn a file upside down: every share stays within its worth of the file's."""
    learned = fit(rich_toy(), toy_log(2), FULL)
    for path in SHARES:
        assert abs(learned.numbers[path] - learned.file[path]) < 100 * 2 / (2 + WORTH["shares"]) + 1e-6


def test_in_pieces_as_in_one() -> None:
    """A list of frames is learned from as their whole."""
    log = toy_log(120)
    patient = FULL.replace(iterations=400, tolerance=1e-9, recentre=False)
    whole = fit(rich_toy(), log, patient)
    pieces = fit(rich_toy(), (log.iloc[i : i + 40] for i in range(0, 120, 40)), patient)
    np.testing.assert_allclose(pieces.theta, whole.theta, atol=2e-3)


def test_same_log_same_bits() -> None:
    """Two fits of the same log are equal to the last bit."""
    assert (fit(rich_toy(), toy_log(80)).theta == fit(rich_toy(), toy_log(80)).theta).all()


def test_what_is_written_back_is_what_was_learned() -> None:
    """The learned knowledge has the learned numbers, its file keeps zeros at zero, and paths say what the file said."""
    learned = fit(rich_toy(), toy_log(200), FULL)
    for path, number in learned.numbers.items():
        assert overlay.value(learned.knowledge, path) == pytest.approx(number)
        assert learned.file[path] == pytest.approx(overlay.value(rich_toy(), path))
    row = learned.knowledge.check["pair"].table["good, ok"]
    assert "c" not in row
    assert sum(row.values()) == pytest.approx(1.0)
    total = sum(learned.numbers[p] for p in learned.numbers if p.endswith("/share"))
    assert total + learned.numbers["other_causes/nothing_wrong"] + learned.numbers[
        "other_causes/unlisted"
    ] == pytest.approx(100)


def test_normal_and_not_done_are_not_the_same() -> None:
    """A hundred checks done and normal speak against a fault; a hundred checks not done say nothing."""
    log = pd.DataFrame({"job": [str(i) for i in range(100)], "found:slow": ["yes"] * 100})
    path = "component/fuse/modes/open/share"
    not_done = fit(rich_toy(), log, FULL).numbers[path]
    normal = fit(rich_toy(), log.assign(**{"found:fuse_test": "closed"}), FULL).numbers[path]
    assert normal < 5 < not_done


# --- callbacks, forgetting, known causes -----------------------------------------------------------------------------


def test_young_jobs_are_censored() -> None:
    """Only jobs followed for the whole window say whether anybody came back, either way."""
    frame = pd.DataFrame(
        {
            "job": list("abcdefg"),
            "ended": ["gone", "gone", "came_back", "came_back", "came_back", "referred", None],
            "back_after_days": [np.nan, np.nan, 5, 5, 44, np.nan, np.nan],
            "followed_days": [90.0, 10.0, 90.0, 10.0, 90.0, 90.0, 90.0],
        }
    )
    assert callbacks(frame, 30.0).tolist() == [0, -1, 1, -1, 0, -1, -1]
    learned = fit(rich_toy(), frame.assign(repairs="new_pump"), FULL)
    assert "2 of 7 jobs are younger than 30 days" in " ".join(learned.notes)


def test_the_day_stands_in_for_days_followed() -> None:
    """Without `followed_days`, a job was followed to the latest day in the log."""
    frame = pd.DataFrame(
        {"job": list("ab"), "day": pd.to_datetime(["2024-01-01", "2024-03-01"]), "ended": ["gone", "gone"]}
    )
    assert callbacks(frame, 30.0).tolist() == [0, -1]


def test_callbacks_are_evidence() -> None:
    """A repair whose customers come back was likely the wrong one: its fault is expected less often."""
    log = pd.DataFrame({"job": ["1"], "repairs": "new_belt", "followed_days": 90.0})
    happy, back = _belts(log.assign(ended="gone")), _belts(log.assign(ended="came_back", back_after_days=4.0))
    assert back < _belts(log) < happy
    assert happy > 1.3 * back


def test_old_jobs_are_forgotten() -> None:
    """With a half-life, what the shop saw last weighs more; a job of one half-life counts half."""
    day = pd.to_datetime(["2022-01-01"] * 50 + ["2024-01-01"] * 50)
    log = pd.DataFrame(
        {"job": [str(i) for i in range(100)], "day": day, "cause": ["belt.broken"] * 50 + ["fuse.open"] * 50}
    )
    fast = fit(rich_toy(), log, FULL.replace(half_life_days=730.0))
    belt, fuse = (fast.counts[fast.families.entry("shares", m)] for m in ("belt.broken", "fuse.open"))
    assert (belt, fuse) == pytest.approx((25, 50), rel=1e-3)
    assert fast.numbers["component/fuse/modes/open/share"] > fast.numbers[SHARES[2]]


def test_a_known_cause_is_counted() -> None:
    """A column `cause` is believed; a cause that the file does not have is refused with the nearest."""
    log = pd.DataFrame({"job": ["1", "2", "3"], "cause": ["pump.dead", "pump.dead", None]})
    learned = fit(rich_toy(), log, FULL)
    assert learned.counts[learned.families.entry("shares", "pump.dead")] > 2
    with pytest.raises(UnknownName, match=r"Did you mean 'pump.dead'\?"):
        fit(rich_toy(), log.assign(cause="pump.ded"), FULL)


# --- facts -----------------------------------------------------------------------------------------------------------


def test_a_shops_own_spread_of_a_fact_is_no_evidence() -> None:
    """Where every customer's machine is old, "old" comes to speak for no fault more than the file's factors say."""
    s = rich_structure()
    log = draw_log(rich_toy(), 800, 4, 0.0)
    log["fact:age"] = "old"
    learned = fit(rich_toy(), log, FULL)
    old = {m: learned.theta[s.families.entry(f"context/age/{m}", "old")] for m in ("pump.dead", "nothing_wrong")}
    assert min(old.values()) > 0.9
    apart = fit(rich_toy(), log, FULL.replace(recentre=False))
    rare = apart.theta[s.families.entry("context/age/unlisted.present", "old")]
    common = apart.theta[s.families.entry("context/age/pump.dead", "old")]
    together = [learned.theta[s.families.entry(f"context/age/{m}", "old")] for m in ("unlisted.present", "pump.dead")]
    assert abs(together[0] - together[1]) < abs(rare - common)


# --- what cannot be learned from -------------------------------------------------------------------------------------


@pytest.mark.parametrize("log", [pd.DataFrame({"job": []}), []])
def test_an_empty_log_is_refused(log: object) -> None:
    """No jobs, no learning: the message says what to type."""
    with pytest.raises(FaultoddsError, match=r"the log has no jobs\. Import one first: faultodds log import FILE"):
        fit(rich_toy(), log)  # type: ignore[arg-type]


def test_a_log_that_says_nothing_changes_next_to_nothing() -> None:
    """Jobs with every cell missing leave the file's numbers where they were, and say so."""
    log = pd.DataFrame({"job": [str(i) for i in range(50)]})
    learned = fit(rich_toy(), log, FULL)
    np.testing.assert_allclose(learned.theta, learned.families.prior, atol=1e-4)
    assert any("names no repairs" in n for n in learned.notes)
    assert any("how it ended" in n for n in learned.notes)


def test_another_appliances_log_is_refused() -> None:
    """A log none of whose jobs can be explained is not learned from."""
    log = pd.DataFrame({"job": ["1"], "fact:kind": ["bare"], "cause": ["belt.broken"]})
    with pytest.raises(FaultoddsError, match="no fault of the file explains any of the 1 jobs of this log"):
        fit(rich_toy(), log, FULL)


def test_names_are_checked() -> None:
    """A column, an outcome and a repair that the file does not have are refused with the nearest name."""
    for column, cell, nearest in [
        ("found:slwo", "yes", "found:slow"),
        ("found:slow", "yess", "yes"),
        ("repairs", "new_bolt", "new_belt"),
    ]:
        with pytest.raises(UnknownName, match=f"Did you mean '{nearest}'"):
            fit(rich_toy(), pd.DataFrame({"job": ["1"], column: [cell]}), FULL)


def test_failed_repairs_lead_the_repairs() -> None:
    """`failed` lists the first of the repairs; anything else is refused."""
    log = pd.DataFrame({"job": ["1"], "repairs": ["new_belt;new_pump"], "failed": ["new_pump"]})
    with pytest.raises(FaultoddsError, match="it lists the first of the repairs, in order"):
        fit(rich_toy(), log, FULL)


def test_a_failed_repair_speaks_against_its_fault() -> None:
    """A run that failed after the belt, and passed after the pump, says pump."""
    log = pd.DataFrame({"job": ["1"], "repairs": "new_belt;new_pump", "failed": "new_belt", "after:run_test": "good"})
    assert _belts(log) < 0.75 * _belts(log.drop(columns="failed"))


@pytest.mark.parametrize(
    ("setting", "says"),
    [
        ({"strengths": {"shares": -1.0}}, "strengths: shares: found -1.0; it is above 0"),
        ({"strengths": {"share": 10.0}}, "Did you mean 'shares'?"),
        ({"strengths": 7}, "write 'auto', or jobs for each of"),
        ({"half_life_days": 0.0}, "half_life_days: found 0.0; it is above 0"),
        ({"omitted_target": 0.9}, "omitted_target: found 0.9; it is 0 or more and at most 0.5"),
        ({"iterations": 0}, "iterations: found 0"),
    ],
)
def test_settings_that_mean_nothing_are_refused(setting: dict[str, object], says: str) -> None:
    """The message names the setting, what was found, and what is allowed."""
    with pytest.raises(FaultoddsError) as error:
        Settings(**setting)  # type: ignore[arg-type]
    assert says in str(error.value)


def test_the_clean_logs_own_columns_are_read() -> None:
    """Every column that a clean log can have is taken, among them those that nothing is learned from."""
    columns = clean.columns_of(rich_toy())
    log = toy_log(20).assign(technician="T1", minutes=30.0, bill=90.0)
    assert set(log.columns) <= set(columns)
    assert fit(rich_structure().knowledge, log, FULL).jobs == 20
