"""An audit's answer: every method at every stage, how much better or worse than the file, and a sentence for whoever decides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from faultodds.audit import scores
from faultodds.audit.baselines import BASELINES
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
    `against` is this log score less that of the numbers compared with (`Audit.base`) on the same jobs (under 0 is better).
    """

    stage: Stage
    method: str
    log_score: float
    brier: Decomposition
    calibration: Interval
    luck: float
    top1: float
    top3: float
    against: Interval | None
    curve: tuple[CurvePoint, ...]


@dataclass(frozen=True)
class Audit:
    """The whole answer. `counts` says in figures which jobs took part, `notes` in plain sentences how to read it; `base` names the
    method that the others are held against. `growth`: how much each method's log score, less the base's, rose from the earlier
    half of the jobs to the later, for which more had been learned from; under 0 a longer log forecasts better. `told`: what was
    really wrong was at hand, not only which repairs held."""

    rows: tuple[Row, ...]
    counts: dict[str, int]
    notes: tuple[str, ...]
    base: str = FILE
    growth: dict[str, float] = field(default_factory=dict)
    told: bool = False

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


def judged(walked: Walked, stages: Sequence[Stage], methods: Sequence[str], base: str = FILE) -> tuple[Row, ...]:
    """A row for every stage and method."""
    return tuple(_row(walked, stage, method, base) for stage in stages for method in methods)


def grown(walked: Walked, stages: Sequence[Stage], methods: Sequence[str], base: str = FILE) -> dict[str, float]:
    """`Audit.growth`, from the months forecast first and last; nothing when everything was learned once."""
    sizes = [int(np.isin(walked.rows, block.rows).sum()) for block in walked.blocks]
    edges = np.cumsum([size for size in sizes if size])[:-1]
    if not len(edges):
        return {}
    half = int(edges[np.abs(edges - len(walked.rows) / 2).argmin()])

    def score(method: str) -> Floats:
        return np.asarray(
            np.mean([scores.log_scores(walked.forecasts[s.name, method], walked.truth) for s in stages], axis=0)
        )

    out = {}
    for method in methods:
        off = score(method) - score(base)
        out[method] = float(off[half:].mean() - off[:half].mean())
    return out


def _row(walked: Walked, stage: Stage, method: str, base: str) -> Row:
    p, truth = walked.forecasts[stage.name, method], walked.truth
    own = scores.log_scores(p, truth)
    before = walked.forecasts.get((stage.name, base))
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
        against=None if method == base or before is None else mean_difference(own, scores.log_scores(before, truth)),
        curve=curve_of(p, truth),
    )


def curve_of(p: Floats, truth: Ints) -> tuple[CurvePoint, ...]:
    """The calibration curve of the favourites, with Wilson intervals."""
    bins = scores.curve(p, truth)
    low, high = wilson(bins.happened * bins.jobs, bins.jobs.astype(float))
    points = zip(bins.stated, bins.happened, low, high, bins.jobs, strict=True)
    return tuple(CurvePoint(float(s), float(r), float(a), float(b), int(n)) for s, r, a, b, n in points)


def _clear(audit: Audit, method: str) -> tuple[list[Row], list[Row], list[Row]]:
    """Stages at which a method is surely better than the base, surely worse, and neither."""
    rows = [(r, r.against.clear) for r in audit.rows if r.method == method and r.against is not None]
    better, worse = [r for r, off in rows if off < 0], [r for r, off in rows if off > 0]
    return better, worse, [r for r, off in rows if off == 0]


def is_worse(audit: Audit, method: str) -> bool:
    """Whether a method forecasts worse than the base: surely so at some stage, or on average and surely better at none."""
    better, worse, _ = _clear(audit, method)
    off = [r.against.value for r in audit.rows if r.method == method and r.against is not None]
    return bool(worse) or (not better and bool(off) and float(np.mean(off)) > 0)


def verdict(audit: Audit, method: str) -> str:
    """Whether learning helped, how much, how sure, and where not: in words for whoever decides."""
    better, worse, unsure = _clear(audit, method)
    theirs = "the file's" if audit.base == FILE else f"those in use ({audit.base})"
    if not better:
        head = f"No: on these {audit.counts['scored']} jobs the {method} priors were no better than {theirs}"
        head += f"; {_places(worse)} they were worse" if worse else ""
    else:
        head = f"Yes: the {method} priors forecast better than {theirs} {_places(better)}: {_gain(audit, better)}"
        head += f"; {_places(worse)} they were worse" if worse else ""
    if unsure and (better or worse):
        head += f"; {_places(unsure)} the difference may be luck"
    said = [f"{head}.", _others(audit, method), _advice(bool(better), bool(worse), audit, method)]
    return " ".join(part for part in said if part)


def _advice(better: bool, worse: bool, audit: Audit, method: str) -> str:
    """What to do about it. A longer log is waited for only where forecasts grew better as more was learned from."""
    growth = audit.growth.get(method)
    if better and not worse and not audit.told:
        return (
            "As far as what held is what was needed, this log speaks for accepting what it teaches. Where the shop does the same "
            "repair whenever it sees the same thing, it is not: look through what moved, and accept what you know to be so."
        )
    if better and not worse:
        return "This log speaks for accepting what it teaches."
    if better:
        return "Whether to accept what it teaches depends on which of these moments matters to you."
    if growth is None:
        return "Keep the numbers you have."
    if growth < 0:
        return (
            "Keep the numbers you have, and audit again when the log has grown: the more there was to learn from, the better it "
            "went."
        )
    return (
        "Keep the numbers you have. A longer log of this kind would not mend it: the more there was to learn from, the worse it "
        "went. Look at how the log was read: faultodds log phrases NAME."
    )


def _places(rows: Sequence[Row]) -> str:
    return _titles([r.stage for r in rows])


def _gain(audit: Audit, rows: Sequence[Row]) -> str:
    """The gain as a factor on the chance given to what turned out, and in favourites that were right."""
    best = min(rows, key=lambda r: r.against.value if r.against else 0.0)
    d = best.against
    assert d is not None
    before = audit.row(best.stage.name, audit.base)
    factors = [float(np.exp(-x)) for x in (d.value, d.high, d.low)]
    whose = "the file" if audit.base == FILE else audit.base
    where = "" if len(rows) == 1 else f" {best.stage.title}"
    what = "what was really the matter" if audit.told else "the repair that held"
    return (
        f"{what} got {factors[0]:.2f} times the chance {whose} gave it{where} (95 % sure of "
        f"{factors[1]:.2f} to {factors[2]:.2f}), and its first guess was right in {best.top1:.0%} of jobs against {before.top1:.0%}"
    )


def _others(audit: Audit, method: str) -> str:
    """Where a general method, or a revision that was judged as it is, did better than these priors, if anywhere."""
    others = [m for m in audit.methods if m not in (method, FILE, audit.base)]
    lost = {
        other: [s for s in audit.stages if audit.row(s.name, other).log_score < audit.row(s.name, method).log_score]
        for other in others
    }
    general = [m for m in others if m in BASELINES]
    ahead = "; ".join(f"{m} {_titles(lost[m])}" for m in general if lost[m])
    said = [f"A general method did better: {ahead}." if ahead else "No general method did better at any stage."]
    return " ".join([*(said if general else []), *(_as_it_is(m, lost[m]) for m in others if m not in BASELINES)])


def _as_it_is(revision: str, better: Sequence[Stage]) -> str:
    """How a revision did that was not learned anew on the way."""
    if not better:
        return f"Revision {revision}, as it stands, did no better at any stage."
    seen = "if it was learned from these very jobs, that proves nothing"
    return f"Revision {revision}, as it stands, did better {_titles(better)}; {seen}."


def _titles(stages: Sequence[Stage]) -> str:
    titles = [stage.title for stage in stages]
    return titles[0] if len(titles) == 1 else f"{', '.join(titles[:-1])} and {titles[-1]}"
