"""The verdict: what it says in words follows from the figures, whichever way they fall."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from faultodds.audit import scores
from faultodds.audit.results import Audit, grown, is_worse, judged, verdict
from faultodds.audit.stages import STAGES, Stage
from faultodds.audit.walk import Block, Walked
from faultodds.charts.audit_figure import draw
from faultodds.knowledge.tables import Floats

FIRST, LAST = STAGES[0], STAGES[-1]


def _given(chance: float, truth: Floats, seed: int) -> Floats:
    """Forecasts that give what turned out about `chance`, the rest to four others, jittered from job to job."""
    rng = np.random.default_rng(seed)
    own = np.clip(chance + rng.normal(0, 0.05, len(truth)), 0.01, 0.98)
    p = np.repeat(((1 - own) / 4)[:, None], 5, axis=1)
    p[np.arange(len(truth)), truth.astype(int)] = own
    return p


def _audit(chances: dict[tuple[Stage, str], float], jobs: int = 120) -> Audit:
    truth = np.random.default_rng(9).integers(0, 5, jobs)
    forecasts = {(s.name, m): _given(c, truth, i) for i, ((s, m), c) in enumerate(chances.items())}
    walked = Walked(np.arange(jobs), truth, forecasts, ())
    stages = tuple(dict.fromkeys(s for s, _ in chances))
    methods = list(dict.fromkeys(m for _, m in chances))
    return Audit(judged(walked, stages, methods), {"scored": jobs}, (), told=True)


def test_when_learning_helped_the_verdict_says_how_much_and_how_sure() -> None:
    """A forecast of .6 against .3 for what turned out is twice the chance, with an interval, and names the rival that lost."""
    said = verdict(_audit({(LAST, "file"): 0.3, (LAST, "learned"): 0.6, (LAST, "naive Bayes"): 0.2}), "learned")
    assert said.startswith(
        "Yes: the learned priors forecast better than the file's after all checks: what was really the"
    )
    factor = float(said.partition("got ")[2].split(" ")[0])
    assert factor == pytest.approx(2.0, abs=0.15)
    assert "(95 % sure of " in said
    assert said.endswith("No general method did better at any stage. This log speaks for accepting what it teaches.")


def test_a_repair_that_held_is_not_called_what_was_the_matter() -> None:
    """Where nobody told what was really wrong, neither the gain nor the advice takes the repairs that held for it."""
    told = _audit({(LAST, "file"): 0.3, (LAST, "learned"): 0.6})
    assert "what was really the matter got" in verdict(told, "learned")
    said = verdict(replace(told, told=False), "learned")
    assert "really the matter" not in said
    assert ": the repair that held got 2" in said or ": the repair that held got 1.9" in said
    assert "As far as what held is what was needed, this log speaks for accepting what it teaches." in said


def test_when_learning_hurt_the_verdict_says_where() -> None:
    """Better at one stage and worse at another are both said, and so is a rival that did better."""
    chances = {
        (FIRST, "file"): 0.5,
        (FIRST, "learned"): 0.3,
        (FIRST, "naive Bayes"): 0.4,
        (LAST, "file"): 0.3,
        (LAST, "learned"): 0.6,
        (LAST, "naive Bayes"): 0.4,
    }
    said = verdict(_audit(chances), "learned")
    assert said.startswith("Yes: the learned priors forecast better than the file's after all checks")
    assert "; after the complaint they were worse" in said
    assert "A general method did better: naive Bayes after the complaint. Whether to accept" in said


def test_a_revision_is_called_one_and_what_it_has_seen_proves_nothing() -> None:
    """It is no rival: a manager asks about it by name, and it may have been learned from the jobs it is judged on."""
    chances = {(LAST, "file"): 0.3, (LAST, "2026-11-30-a"): 0.7, (LAST, "learned"): 0.5, (LAST, "naive Bayes"): 0.2}
    said = verdict(_audit(chances), "learned")
    assert (
        "No general method did better at any stage. Revision 2026-11-30-a, as it stands, did better after all" in said
    )
    assert "learned from these very jobs, that proves nothing." in said
    said = verdict(_audit(chances | {(LAST, "2026-11-30-a"): 0.4}), "learned")
    assert "Revision 2026-11-30-a, as it stands, did no better at any stage." in said
    assert "rival" not in said


def test_no_difference_is_called_none() -> None:
    """Equal forecasts are no gain, however many decimals differ."""
    said = verdict(_audit({(LAST, "file"): 0.5, (LAST, "learned"): 0.5}), "learned")
    assert said == (
        "No: on these 120 jobs the learned priors were no better than the file's. Keep the numbers you have."
    )


@pytest.mark.parametrize("seed", range(40))
def test_a_longer_log_is_waited_for_only_where_it_forecast_better(seed: int) -> None:
    """The law of growth: "audit again when the log has grown" is said exactly where the later jobs, for which more had been
    learned from, came off better than the earlier ones; what is worse than the base is never told to be accepted."""
    rng = np.random.default_rng(seed)
    truth = rng.integers(0, 5, 120)
    cut = int(rng.integers(20, 100))
    parts = [np.arange(cut), np.arange(cut, 120)]
    early, late = rng.uniform(0.1, 0.6, 2)
    own = np.vstack([_given(early, truth[parts[0]], seed), _given(late, truth[parts[1]], seed + 1)])
    forecasts = {(LAST.name, "file"): _given(0.4, truth, 7), (LAST.name, "learned"): own}
    blocks = tuple(Block(pd.Timestamp("2025-01-01"), rows, int(rows[0])) for rows in parts)
    walked = Walked(np.arange(120), truth, forecasts, blocks)
    growth = grown(walked, [LAST], ["file", "learned"])
    audit = Audit(judged(walked, [LAST], ["file", "learned"]), {"scored": 120}, (), growth=growth)
    said = verdict(audit, "learned")
    off = scores.log_scores(own, truth) - scores.log_scores(forecasts[LAST.name, "file"], truth)
    better_later = off[cut:].mean() < off[:cut].mean()
    assert growth["file"] == 0.0
    assert (growth["learned"] < 0) == better_later
    if said.startswith("No"):
        assert ("when the log has grown" in said) == better_later
    if is_worse(audit, "learned"):
        assert "speaks for accepting" not in said
        assert off.mean() > 0


def test_a_difference_that_may_be_luck_is_said_to_be() -> None:
    """A stage whose interval holds 0 is named as unsure beside the one that is clear."""
    chances = {(FIRST, "file"): 0.5, (FIRST, "learned"): 0.5, (LAST, "file"): 0.3, (LAST, "learned"): 0.6}
    assert "; after the complaint the difference may be luck." in verdict(_audit(chances), "learned")


def test_rows_hold_what_the_scores_say() -> None:
    """Log score, the difference from the file and its sign agree; the file has no difference from itself."""
    audit = _audit({(LAST, "file"): 0.3, (LAST, "learned"): 0.6})
    file, learned = audit.row("all", "file"), audit.row("all", "learned")
    assert file.against is None and learned.against is not None
    assert learned.against.value == pytest.approx(learned.log_score - file.log_score)
    assert learned.against.low <= learned.against.value <= learned.against.high < 0
    assert learned.calibration.low <= learned.calibration.high
    assert sum(p.jobs for p in learned.curve) == 120
    assert all(p.low <= p.right <= p.high for p in learned.curve)


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_the_figure_is_written_and_the_same_every_time(tmp_path: Path, suffix: str) -> None:
    """Two drawings of one audit are the same bytes."""
    audit = _audit({(s, m): 0.4 for s in (FIRST, LAST) for m in ("file", "learned", "naive Bayes")})
    paths = [tmp_path / f"{i}{suffix}" for i in range(2)]
    for path in paths:
        draw(audit, "learned", path)
    assert paths[0].read_bytes() == paths[1].read_bytes()
    assert paths[0].stat().st_size > 5000
