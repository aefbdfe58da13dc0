"""An audit as text for an 80-column terminal, and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from faultodds.names import rounded
from faultodds_cli.shared.text import listed, width, wrap

if TYPE_CHECKING:
    from faultodds.audit import Audit, Interval, Row

_NAME = 21
# A line of the table; narrower screens have it in words.
_WIDE = 79
_HEADS = ("log", "Brier", "calib", "first", "top 3", "than base")
_LEGEND = (
    "log: minus the log of the chance given to what turned out, mean of the jobs; smaller is better. Brier: squared "
    "distance of the chances from what turned out, smaller is better. calib: how far the chance stated for the likeliest "
    "repair lies from how often it was right. first, top 3: share of jobs where the likeliest, or one of the three "
    "likeliest, put the machine right. last: log less "
    "that of the numbers compared with, on the same jobs, with its 95 % interval; under 0 is better."
)


def lines(audit: Audit, name: str, said: str) -> list[str]:
    """The whole answer."""
    c = audit.counts
    head = (
        f"{name}: {c['jobs']} jobs. Learned {c['times_learned']} times from what was known before, then forecast the months "
        f"that followed: {c['scored']} jobs held against what put them right."
    )
    out = [*wrap(head), ""]
    for stage in audit.stages:
        rows = [r for r in audit.rows if r.stage == stage]
        if width() < _WIDE:
            out += wrap(stage.title.upper())
            out += [line for r in rows for line in listed(r.method, _HEADS, [*_figures(r), _difference(r.against)])]
        else:
            out.append(
                f"{stage.title.upper():<{_NAME}}    log  Brier  calib first top 3  than {audit.base[:10]:<10} 95 %"
            )
            out += [_row(r) for r in rows]
        out.append("")
    out += wrap(_LEGEND)
    luck = [r.luck for r in audit.rows]
    out += wrap(
        f"With so few jobs an exactly right forecast would show a calib of {min(luck):.3f} to {max(luck):.3f} by luck alone."
    )
    for note in audit.notes:
        out += wrap(note, "- ", "  ")
    return [*out, "", *wrap(said)]


def _row(r: Row) -> str:
    figures = "".join(figure.rjust(w) for figure, w in zip(_figures(r), (7, 7, 7, 6, 6), strict=True))
    return f"  {r.method:<{_NAME - 2}}{figures}  {_difference(r.against)}".rstrip()


def _figures(r: Row) -> list[str]:
    scores = [f"{score:.3f}" for score in (r.log_score, r.brier.score, r.calibration.value)]
    return [*scores, f"{r.top1:.0%}", f"{r.top3:.0%}"]


def _difference(d: Interval | None) -> str:
    return "" if d is None else f"{d.value:+.3f} ({d.low:+.2f} to {d.high:+.2f})"


def answer(audit: Audit, name: str, appliance: str, said: str) -> dict[str, Any]:
    """The object of `audit --json`."""
    return {
        "appliance": appliance,
        "log": name,
        "base": audit.base,
        "counts": dict(audit.counts),
        "stages": [
            {
                "stage": stage.name,
                "title": stage.title,
                "methods": [_plain(r) for r in audit.rows if r.stage == stage],
            }
            for stage in audit.stages
        ],
        "notes": list(audit.notes),
        "verdict": said,
    }


def _plain(r: Row) -> dict[str, Any]:
    b = r.brier
    return {
        "method": r.method,
        "log_score": rounded(r.log_score),
        "brier": {
            "score": rounded(b.score),
            "reliability": rounded(b.reliability),
            "resolution": rounded(b.resolution),
            "uncertainty": rounded(b.uncertainty),
            "leftover": rounded(b.leftover),
        },
        "calibration_error": _interval(r.calibration),
        "calibration_error_by_luck": rounded(r.luck),
        "top_1": rounded(r.top1),
        "top_3": rounded(r.top3),
        "log_score_less_base": None if r.against is None else _interval(r.against),
        "calibration_curve": [
            {
                "stated": rounded(p.stated),
                "right": rounded(p.right),
                "low": rounded(p.low),
                "high": rounded(p.high),
                "jobs": p.jobs,
            }
            for p in r.curve
        ],
    }


def _interval(d: Interval) -> dict[str, float]:
    return {"value": rounded(d.value), "low": rounded(d.low), "high": rounded(d.high)}
