"""`faultodds audit` from the outside."""

from __future__ import annotations

from pathlib import Path

import pytest

from coded_logs import coded_log
from faultodds.joblog.clean import write_clean
from run_cli import faultodds

QUICK = ("--refits", "1", "--no-rivals", "--stages", "complaint,all", "--first", "150")


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clean log of 400 jobs, its truth beside it."""
    folder = tmp_path_factory.mktemp("logs")
    frame, truth = coded_log(400, 12)
    write_clean(frame, folder / "shop.parquet")
    truth.to_csv(folder / "truth.csv", index=False)
    return folder / "shop.parquet"


def test_an_audit_reads_like_an_answer(log: Path) -> None:
    """A table for every stage, how to read it, what was left out, and a verdict at the end; 80 columns."""
    ran = faultodds("audit", str(log), *QUICK)
    assert ran.code == 0, ran.err
    assert ran.err == ""
    assert max(map(len, ran.out.splitlines())) <= 80
    assert "AFTER THE COMPLAINT" in ran.out and "AFTER ALL CHECKS" in ran.out
    assert "held against the log's own word" in ran.text
    last = ran.out.rstrip().split("\n\n")[-1]
    assert last.startswith(("Yes: the learned priors", "No: on these"))
    assert "What was done is partly habit" in ran.text


def test_json_holds_the_same_and_nothing_else(log: Path) -> None:
    """One object; every score, the parts of the Brier score, curves; the same twice."""
    truth = str(log.parent / "truth.csv")
    typed = ("audit", str(log), "--truth", truth, *QUICK, "--json")
    ran = faultodds(*typed)
    assert ran.code == 0, ran.err
    assert list(ran.answer) == ["appliance", "log", "base", "counts", "stages", "notes", "verdict", "contradictions"]
    assert [s["stage"] for s in ran.answer["stages"]] == ["complaint", "all"]
    for stage in ran.answer["stages"]:
        assert [m["method"] for m in stage["methods"]] == ["file", "learned"]
        for method in stage["methods"]:
            b = method["brier"]
            whole = b["reliability"] - b["resolution"] + b["uncertainty"] + b["leftover"]
            assert whole == pytest.approx(b["score"], abs=1e-4)
            assert sum(p["jobs"] for p in method["calibration_curve"]) == ran.answer["counts"]["scored"]
    assert faultodds(*typed).out == ran.out


def test_everything_known_forecasts_better_than_the_complaint_alone(log: Path) -> None:
    """Checks tell something: the log score after all of them is far under the one after the complaint."""
    ran = faultodds("audit", str(log), "--truth", str(log.parent / "truth.csv"), *QUICK, "--json")
    complaint, every = (s["methods"][0]["log_score"] for s in ran.answer["stages"])
    assert every < complaint - 0.4


def test_a_figure_is_written(log: Path, tmp_path: Path) -> None:
    """--figure leaves a picture behind."""
    path = tmp_path / "audit.png"
    assert faultodds("audit", str(log), *QUICK, "--figure", str(path)).code == 0
    assert path.stat().st_size > 10_000


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("nowhere",), "there is no job log called 'nowhere'."),
        (("{log}", "--stages", "soon"), "--stages soon: a stage is 'complaint', a number of checks, or 'all'."),
        (("{log}", "--truth", "{folder}/none.csv"), "there is no such file. Name a CSV or Parquet table"),
        (("{log}", "--rivals-know-truth"), "--rivals-know-truth needs the truth: add --truth FILE, or leave it out."),
        (("{log}", "--figure", "{folder}/a.gif"), "a figure ends in .png, .svg, .pdf."),
        (("{log}", "--first", "5000"), "an audit learns from the first 5000 and forecasts the months after them"),
        (("{log}", "--revision", "1999-01-01-a"), "1999-01-01-a"),
    ],
)
def test_what_cannot_be_audited_is_refused_in_a_sentence(
    log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: tuple[str, ...], said: str
) -> None:
    """Exit 2, one message that says what to type, nothing on standard output."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path))
    filled = [t.format(log=log, folder=log.parent) for t in typed]
    ran = faultodds("audit", *filled)
    assert ran.code == 2
    assert said in ran.said
    assert ran.out == ""
