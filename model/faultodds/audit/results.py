"""An audit's answer: every method at every stage, how much better or worse than the file, and a sentence for whoever decides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from faultodds.audit import scores
from faultodds.audit.intervals import Interval, bootstrap, mean_difference, wilson
from faultodds.audit.scores import Decomposition
from faultodds.audit.stages import Stage
from faultodds.audit.walk import Walked
from faultodds.knowledge import Floats, Ints
from faultodds.revisions import FILE


@dataclass(frozen=True)
class CurvePoint:
    """One bin of the calibration curve: of `jobs` favourites stated at `stated` on average, `right` were so, 95 % interval."""

    stated: float
    right: float
    low: float
    high: float
    jobs: int


@dataclass(frozen=True)
class Row:
    """One method at one stage. Scores are means per job.

    `log_score` and `brier` are losses; `calibration` is the calibration error of the favourites with its bootstrap interval and
    `luck` what an exactly right forecast would show on as many jobs; `top1` and `top3` are shares of the jobs.
    `against_file` is this log score less the file's on the same jobs (under 0 is better); None for the file itself.
    """

    stage: Stage
    method: str
    log_score: float
    brier: Decomposition
    calibration: Interval
    luck: float
    top1: float
    top3: float
    against_file: Interval | None
    curve: tuple[CurvePoint, ...]


@dataclass(frozen=True)
class Audit:
    """The whole answer. `counts` says in figures which jobs took part, `notes` in plain sentences how to read it."""

    rows: tuple[Row, ...]
    counts: dict[str, int]
    notes: tuple[str, ...]

    def row(self, stage: str, method: str) -> Row:
        """One method's row at one stage."""
        return next(r for r in self.rows if r.stage.name == stage and r.method == method)

    @property
    def methods(self) -> tuple[str, ...]:
        """Methods in the order of the table."""
        return tuple(dict.fromkeys(r.method for r in self.rows))

    @property
    def stages(self) -> tuple[Stage, ...]:
        """Stages in the order of a job."""
        return tuple(dict.fromkeys(r.stage for r in self.rows))


def judged(walked: Walked, stages: Sequence[Stage], methods: Sequence[str]) -> tuple[Row, ...]:
    """A row for every stage and method."""
    return tuple(_row(walked, stage, method) for stage in stages for method in methods)


def _row(walked: Walked, stage: Stage, method: str) -> Row:
    p, truth = walked.forecasts[stage.name, method], walked.truth
    own = scores.log_scores(p, truth)
    file = walked.forecasts.get((stage.name, FILE))
    stated, right = scores.favourites(p, truth)
    return Row(
        stage=stage,
        method=method,
        log_score=float(own.mean()),
        brier=scores.decompose_groups(p, truth),
        calibration=bootstrap(lambda rows: scores.binary_calibration_error(stated[rows], right[rows]), len(p)),
        luck=scores.calibration_by_luck(p),
        top1=float(scores.among_top(p, truth, 1).mean()),
        top3=float(scores.among_top(p, truth, 3).mean()),
        against_file=None if method == FILE or file is None else mean_difference(own, scores.log_scores(file, truth)),
        curve=curve_of(p, truth),
    )


def curve_of(p: Floats, truth: Ints) -> tuple[CurvePoint, ...]:
    """The calibration curve of the favourites, with Wilson intervals."""
    bins = scores.curve(p, truth)
    low, high = wilson(bins.happened * bins.jobs, bins.jobs.astype(float))
    points = zip(bins.stated, bins.happened, low, high, bins.jobs, strict=True)
    return tuple(CurvePoint(float(s), float(r), float(a), float(b), int(n)) for s, r, a, b, n in points)


def verdict(audit: Audit, method: str) -> str:
    """Whether learning helped, how much, how sure, and where not: in words for whoever decides."""
    rows = [r for r in audit.rows if r.method == method and r.against_file is not None]
    better = [r for r in rows if r.against_file is not None and r.against_file.clear < 0]
    worse = [r for r in rows if r.against_file is not None and r.against_file.clear > 0]
    unsure = [r for r in rows if r not in better and r not in worse]
    if not better:
        head = f"No: on these {audit.counts['scored']} jobs the {method} priors were no better than the file's"
        head += f"; {_places(worse)} they were worse" if worse else ""
    else:
        head = f"Yes: the {method} priors forecast better than the file's {_places(better)}: {_gain(audit, better)}"
        head += f"; {_places(worse)} they were worse" if worse else ""
    if unsure and (better or worse):
        head += f"; {_places(unsure)} the difference may be luck"
    said = [f"{head}.", _rivals(audit, method), _advice(bool(better), bool(worse))]
    return " ".join(part for part in said if part)


def _advice(better: bool, worse: bool) -> str:
    """What to do about it."""
    if better and not worse:
        return "This log speaks for accepting what it teaches."
    if better:
        return "Whether to accept what it teaches depends on which of these moments matters to you."
    return "Keep the numbers you have, and audit again when the log has grown."


def _places(rows: Sequence[Row]) -> str:
    titles = [r.stage.title for r in rows]
    return titles[0] if len(titles) == 1 else f"{', '.join(titles[:-1])} and {titles[-1]}"


def _gain(audit: Audit, rows: Sequence[Row]) -> str:
    """The gain as a factor on the chance given to what turned out, and in favourites that were right."""
    best = min(rows, key=lambda r: r.against_file.value if r.against_file else 0.0)
    d = best.against_file
    assert d is not None
    file = audit.row(best.stage.name, FILE)
    factors = [float(np.exp(-x)) for x in (d.value, d.high, d.low)]
    where = "" if len(rows) == 1 else f" {best.stage.title}"
    return (
        f"what was really the matter got {factors[0]:.2f} times the chance the file gave it{where} (95 % sure of "
        f"{factors[1]:.2f} to {factors[2]:.2f}), and its first guess was right in {best.top1:.0%} of jobs against {file.top1:.0%}"
    )


def _rivals(audit: Audit, method: str) -> str:
    """Where another way of forecasting did better than these priors, if anywhere."""
    others = [m for m in audit.methods if m not in (method, FILE)]
    lost = [
        (stage, other)
        for stage in audit.stages
        for other in others
        if audit.row(stage.name, other).log_score < audit.row(stage.name, method).log_score
    ]
    if not others:
        return ""
    if not lost:
        return "No rival did better at any stage."
    return "A rival did better: " + "; ".join(f"{other} {stage.title}" for stage, other in lost) + "."
