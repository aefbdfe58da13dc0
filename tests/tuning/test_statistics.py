"""One pass: expected counts against sums over single jobs, worked out by the engine that answers technicians."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from faultodds.belief.evidence import Evidence, RepairEffect, WeighedFinding
from faultodds.belief.posterior import Belief, infer
from faultodds.belief.suspects import compile_suspects
from faultodds.joblog import clean
from faultodds.knowledge.schema import repair_modes
from faultodds.knowledge.tables import Floats
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.draw import draw_log
from faultodds.tuning.encode import Encoder
from faultodds.tuning.fitting import fit
from faultodds.tuning.likelihood import Silence, blocks, rows_of
from faultodds.tuning.settings import Settings
from faultodds.tuning.statistics import Statistics, statistics, total
from rich_toy import rich_structure, rich_toy, shop, toy_log


def _plain(log: pd.DataFrame) -> pd.DataFrame:
    """The log without what the everyday engine does not know: callbacks."""
    return log.drop(columns=[clean.ENDED, clean.BACK_AFTER, clean.FOLLOWED])


def _evidence(row: pd.Series) -> Evidence:
    """One job as the everyday engine takes it."""
    cells = {str(k): str(v) for k, v in row.items() if not pd.isna(v)}
    facts = {k.removeprefix(clean.FACT): v for k, v in cells.items() if k.startswith(clean.FACT)}
    seen = [
        WeighedFinding(k.removeprefix(clean.FOUND), clean.weights(v))
        for k, v in cells.items()
        if k.startswith(clean.FOUND)
    ]
    repairs = [n for n in cells.get(clean.REPAIRS, "").split(";") if n]
    file = rich_toy()
    fixed = tuple(RepairEffect(n, tuple(repair_modes(file, file.repair[n])), file.repair[n].success) for n in repairs)
    if clean.AFTER + "run_test" in cells:
        seen.append(WeighedFinding("run_test", clean.weights(cells[clean.AFTER + "run_test"]), stage=len(repairs)))
    return Evidence(facts, tuple(seen), fixed)


def _beliefs(log: pd.DataFrame) -> list[Belief]:
    suspects = compile_suspects(rich_toy(), 0.0)
    return [infer(suspects, _evidence(row)) for _, row in log.iterrows()]


def _pass(log: pd.DataFrame, labels: bool = False, theta: Floats | None = None, merge: bool = True) -> Statistics:
    s = rich_structure()
    chunk = Encoder(s, merge=merge).encode(log)
    return statistics(s, chunk, s.families.prior if theta is None else theta, labels=labels)


def test_suspects_as_the_everyday_engine_finds_them() -> None:
    """Facts, findings, doubtful findings, repairs that may fail and the run after them give each job the same posterior."""
    log = _plain(toy_log(60))
    log["found:listen"] = log["found:listen"].astype(object)
    log.loc[::5, "found:listen"] = "weak:0.6|silent:0.4"
    s = rich_structure()
    arrays = arrays_of(s, s.families.prior)
    chunk = Encoder(s, merge=False).encode(log)
    rows = rows_of(s, chunk, arrays, Silence.none(s), labels=False)
    (block,) = blocks(chunk, rows, arrays, 100)
    found = block.like * (block.main @ arrays.given_main)
    found /= found.sum(axis=1, keepdims=True)
    expected = np.array([b.original for b in _beliefs(log)])
    # A chunk's jobs are in the order of what came after the repairs, so rows are matched by their likelihoods.
    order = np.lexsort(np.round(found, 6).T), np.lexsort(np.round(expected, 6).T)
    np.testing.assert_allclose(found[order[0]], expected[order[1]], atol=2e-6)


def test_counts_are_sums_over_jobs() -> None:
    """Expected main causes and the log likelihood of a log are sums over its jobs."""
    log = _plain(toy_log(60))
    beliefs = _beliefs(log)
    found = _pass(log)
    s = rich_structure()
    mains = s.suspects.mains[:-2]
    parts = [found.counts[s.families.entry("shares", m)] for m in mains]
    assert found.counts[s.families.of == s.families.of[0]].sum() == pytest.approx(60, abs=1e-4)
    holds = sum(b.original @ s.suspects.member_float for b in beliefs)
    # A mode that is no companion of anything here is there as the main cause or beside it.
    companions = _companions(found)
    for mode, main in zip(mains, parts, strict=True):
        assert main + companions[mode] == pytest.approx(holds[s.suspects.mode_index[mode]], abs=1e-3)


def _companions(found: Statistics) -> dict[str, float]:
    """Expected number of jobs with each mode beside some other main cause."""
    f = rich_structure().families
    out: dict[str, float] = dict.fromkeys(rich_structure().suspects.mains[:-2], 0.0)
    for family, name in enumerate(f.names):
        if name.startswith("component/"):
            component = name.split("/")[1]
            for i, outcome in enumerate(f.outcomes[family]):
                if outcome != "ok":
                    out[f"{component}.{outcome}"] += found.counts[f.start[family] + i]
    return out


def test_log_likelihood_is_that_of_single_jobs() -> None:
    """Without facts, a log's likelihood is the product of its jobs' evidence."""
    log = _plain(toy_log(40))
    log = log[[c for c in log.columns if not c.startswith(clean.FACT)]]
    assert _pass(log).log_likelihood == pytest.approx(sum(b.log_evidence for b in _beliefs(log)), rel=1e-6)


def test_pieces_add_up_to_the_whole() -> None:
    """A log in three pieces gives the counts of the whole log."""
    log = toy_log(90)
    pieces = total(_pass(log.iloc[i : i + 30], labels=True) for i in range(0, 90, 30))
    whole = _pass(log, labels=True)
    np.testing.assert_allclose(pieces.counts, whole.counts, rtol=1e-5, atol=1e-4)
    assert pieces.log_likelihood == pytest.approx(whole.log_likelihood, rel=1e-6)
    assert (pieces.jobs, pieces.weight) == (90, 90.0)


def test_the_same_evidence_is_counted_once() -> None:
    """Jobs with equal evidence are one row with a weight, and the counts are those of single rows."""
    log = pd.concat([toy_log(30)] * 4, ignore_index=True)
    log[clean.JOB] = [str(i) for i in range(len(log))]
    chunk = Encoder(rich_structure()).encode(log)
    assert chunk.evidence.shape[0] <= 30
    assert chunk.jobs == 120
    once, each = _pass(log, 1.0), _pass(log, 1.0, merge=False)
    np.testing.assert_allclose(once.counts, each.counts, rtol=1e-5, atol=1e-4)


def test_every_count_is_the_slope_of_the_log_likelihood() -> None:
    """d log likelihood / d log chance is the expected count: every kind of number, labels and callbacks included."""
    theta, _ = shop(4)
    f = rich_structure().families
    log = toy_log(50)
    counts = _pass(log, 0.7, theta).counts
    rng = np.random.default_rng(0)
    for entry in rng.choice(len(theta), 25, replace=False):
        nudged = theta.copy()
        nudged[entry] *= 1.02
        other = theta.copy()
        other[entry] /= 1.02
        # Chances of a family are free of each other here: the sums to 1 are the maximising step's business.
        if theta[entry] < 1e-6 or f.names[f.of[entry]].startswith(("component", "symptom", "check", "repair", "log")):
            continue
        slope = (_pass(log, 0.7, nudged).log_likelihood - _pass(log, 0.7, other).log_likelihood) / (2 * np.log(1.02))
        assert slope == pytest.approx(counts[entry], abs=0.02), f.names[f.of[entry]]


@pytest.mark.parametrize("kind", ["component", "symptom", "check", "repair", "log"])
def test_counts_point_uphill(kind: str) -> None:
    """For families that share a sum of 1: moving chance between two outcomes changes the log likelihood as the counts say."""
    theta, _ = shop(4)
    f = rich_structure().families
    log = toy_log(50)
    counts = _pass(log, 0.7, theta).counts
    tried = 0
    for family in [i for i, n in enumerate(f.names) if n.startswith(kind)][:6]:
        first = f.start[family]
        a, b = theta[first], theta[first + 1]
        step = 0.01 * min(a, b)
        if step < 1e-5:
            continue
        up, down = theta.copy(), theta.copy()
        up[first] += step
        up[first + 1] -= step
        down[first] -= step
        down[first + 1] += step
        slope = (_pass(log, 0.7, up).log_likelihood - _pass(log, 0.7, down).log_likelihood) / (2 * step)
        assert slope == pytest.approx(counts[first] / a - counts[first + 1] / b, rel=0.02, abs=0.3), f.names[family]
        tried += 1
    assert tried >= 2


def test_a_job_nobody_can_explain_is_set_aside() -> None:
    """A job whose findings no suspect explains counts for nothing, and is counted."""
    file = rich_toy()
    log = pd.DataFrame({"job": ["1", "2"], "fact:kind": ["bare", "bare"], "cause": ["belt.broken", "pump.dead"]})
    learned = fit(file, log, Settings(omitted_target=0.0))
    assert (learned.jobs, learned.set_aside) == (1, 1)
    assert any("no fault or set of faults" in note for note in learned.notes)


def test_faint_jobs_are_summed_in_double() -> None:
    """A job that its facts all but rule out keeps its place: its likelihood is that of double precision."""
    s = rich_structure()
    log = draw_log(rich_toy(), 30, seed=8, missing=0.0)
    theta = s.families.prior.copy()
    for outcome, chance in (("dead", 1e-13), ("ok", 1.0 - 1e-13)):
        if ("component/pump") in s.families.names and outcome in s.families.outcomes[
            s.families.names.index("component/pump")
        ]:
            theta[s.families.entry("component/pump", outcome)] = chance
    theta[s.families.entry("shares", "pump.dead")] = 1e-26
    found = statistics(s, Encoder(s).encode(log), theta)
    assert found.impossible == 0
    assert np.isfinite(found.log_likelihood)
    assert found.counts[s.families.of == 0].sum() == pytest.approx(30, abs=1e-3)
