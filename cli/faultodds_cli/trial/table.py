"""A trial as tables for an 80-column terminal."""

from __future__ import annotations

from collections.abc import Sequence

from faultodds_cli.shared.text import WIDEST, listed, width, wrap
from faultodds_cli.trial.play import FLOOR, IN_WORDS, OURS, Setting
from faultodds_cli.trial.stats import Difference, Summary

_STAGES = {
    "access": "access",
    "checks": "checks",
    "repairs": "repairs",
    "parts": "parts",
    "verification": "verify",
    "callbacks": "callback",
    "handing_over": "hand on",
}


def main_table(found: Sequence[Summary], setting: Setting, currency: str) -> list[str]:
    """Cost, what not knowing cost, the difference from faultodds, and how the jobs went."""
    than = f"more than {_short(setting.reference, 12)}"
    town = f", town {setting.town}" if setting.town else ""
    what = "priors" if setting.priors else "policy"
    lines = wrap(f"{setting.jobs} simulated jobs, seed {setting.seed}{town}; means per job, money in {currency}")
    if width() < WIDEST:
        labels = ("cost", "above floor", than, "min", "wrong part", "first visit", "come back", "hand on")
        rows = [line for s in found for line in listed(_short(s.policy, 30), labels, _cells(s))]
        return [*lines, "", *rows, "", *_legend(found)]
    lines += [
        "",
        f"                     above   {than:<24}    wrong first come hand",
        f"{what}         cost  floor   mean (95 % interval)   min   part visit back   on",
    ]
    lines += [_row(s) for s in found]
    return [*lines, "", *_legend(found)]


def _row(s: Summary) -> str:
    cost, floor, against, minutes, parts, *shares = _cells(s)
    name = _short(s.policy, 12)
    return f"{name:<12}{cost:>7}{floor:>7}   {against:<22}{minutes:>4}{parts:>7}" + "".join(f"{x:>5}" for x in shares)


def _cells(s: Summary) -> list[str]:
    money = [f"{s.cost:.0f}", f"{s.above_floor.mean:.0f}", _against(s.against_ours)]
    return [
        *money,
        f"{s.minutes:.0f}",
        f"{s.wrong_parts:.2f}",
        *map(_share, (s.first_visit, s.callbacks, s.handed_over)),
    ]


def _short(name: str, room: int) -> str:
    """A name cut to the room there is; of a path, the end says most."""
    return name if len(name) <= room else ".." + name[len(name) - room + 2 :]


def _share(value: float) -> str:
    return f"{100 * value:.0f}%"


def _against(d: Difference | None) -> str:
    return "" if d is None else f"{d.mean:+5.0f} ({d.low:+.0f} to {d.high:+.0f})"


def _legend(found: Sequence[Summary]) -> list[str]:
    checks = ", ".join(f"{s.policy} {s.checks:.1f} ({s.live_checks:.2f})" for s in found)
    does = "; ".join(f"{s.policy}: {IN_WORDS[s.policy]}" for s in found if s.policy in IN_WORDS)
    told = (
        f"{does}. above floor: more than the clairvoyant. wrong part: parts fitted that were not faulty. first visit: put "
        "right and not called back. Same calls, same luck."
    )
    return [
        line
        for text in (told, f"Checks a job (of them live or at gas pressure): {checks}.")
        for line in wrap(text, hyphens=True)
    ]


def money_table(found: Sequence[Summary], setting: Setting) -> list[str]:
    """Where the money goes, by stage."""
    title = wrap("WHERE THE MONEY GOES, means per job")
    if width() < WIDEST:
        cells = [(s, [f"{s.money[stage]:.0f}" for stage in _STAGES]) for s in found]
        return [*title, *(line for s, m in cells for line in listed(_short(s.policy, 30), list(_STAGES.values()), m))]
    head = ("priors" if setting.priors else "policy") + "      " + "".join(f"{word:>9}" for word in _STAGES.values())
    rows = [f"{_short(s.policy, 12):<12}" + "".join(f"{s.money[stage]:9.0f}" for stage in _STAGES) for s in found]
    return [*title, head, *rows]


def verdict(found: Sequence[Summary]) -> str:
    """The result in a sentence, whatever it says; empty when faultodds did not play."""
    rivals = [s for s in found if s.against_ours is not None and s.policy != "clairvoyant"]
    if not rivals or not any(s.policy == OURS for s in found):
        return ""
    best = min(rivals, key=lambda s: s.cost)
    d = best.against_ours
    assert d is not None
    if d.low > 0:
        return f"faultodds is cheapest; next is {best.policy}, {d.mean:.0f} more a job."
    if d.high < 0:
        return f"faultodds loses to {best.policy} by {-d.mean:.0f} a job."
    return f"No difference that {best.policy} and faultodds could not owe to chance."


def priors_verdict(found: Sequence[Summary], setting: Setting) -> str:
    """What believing other numbers did to the cost of a job, in a sentence."""
    parts = []
    for s in found:
        if s.ratio is None or s.policy == FLOOR:
            continue
        d = s.ratio
        change = 100.0 * (d.mean - 1.0)
        how = "the same as" if abs(change) < 0.05 else f"{abs(change):.1f} % {'more' if change > 0 else 'less'} than"
        sure = f"95 % interval {100 * (d.low - 1):+.1f} to {100 * (d.high - 1):+.1f} %"
        parts.append(f"with '{s.policy}' a job costs {how} with '{setting.reference}' ({sure})")
    return f"Same advice rules, other numbers: {'; '.join(parts)}." if parts else ""
