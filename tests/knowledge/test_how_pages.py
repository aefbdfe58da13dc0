"""What an apprentice is told of work: where the part is, what the meter is set to, what comes off first, what a reading means."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pytest

from faultodds.knowledge import Check, Knowledge, Repair, load

SETTING = re.compile(r"\bmeter, on|\bMeter on (?:ohms|beep|AC volts)|\bmeter on (?:ohms|beep)")
WHERE = re.compile(
    r"\b[Ff]ind|\b[Ff]ollow|\bTake it out|\bPull (?:its|the coil)|\bat the wall\b|\bburner harness\b|\brelay's output\b"
)
FIRST = re.compile(r"\b(?:[Pp]ull|[Tt]ake it out|[Cc]lip|[Pp]robes in)\b")
MEANS = re.compile(r"\bOL\b|\bnear 0\b|\bgood\b|\bmust\b|\bcounts as\b")


def _steps(work: Check | Repair) -> str:
    return " ".join([*work.fit, *work.steps])


def _metered(k: Knowledge) -> dict[str, Check]:
    return {name: check for name, check in k.check.items() if "multimeter" in check.tools}


def _lacking(steps: dict[str, str], wanted: Sequence[re.Pattern[str]]) -> list[str]:
    return [name for name, text in steps.items() if not all(pattern.search(text) for pattern in wanted)]


def test_every_metered_check_can_be_done_from_its_steps() -> None:
    """Dead ones tell what a reading means as well; of live ones the bands beside them tell. Planted: a step too few."""
    metered = _metered(load("gas_dryer"))
    assert len(metered) >= 14
    assert _lacking({n: _steps(c) for n, c in metered.items()}, (SETTING, WHERE, FIRST)) == []
    dead = {n: _steps(c) for n, c in metered.items() if not c.energised}
    assert _lacking(dead, (MEANS,)) == []
    cut = {n: " ".join(s for s in c.steps if not SETTING.search(s)) for n, c in metered.items()}
    assert len(_lacking(cut, (SETTING,))) == len(metered)


def test_a_new_part_behind_a_panel_is_found_first() -> None:
    """Where it is stands before what is done to it."""
    k = load("gas_dryer")
    new = {
        n: r for n, r in k.repair.items() if r.title.startswith("New ") and {"front_open", "rear_open"} & {*r.access}
    }
    assert len(new) >= 15
    assert (
        _lacking({n: _steps(r) for n, r in new.items() if not r.gas_work}, (re.compile(r"\b[Ff]ind|\bidler\b"),)) == []
    )


@pytest.mark.parametrize("name", ["fuse_continuity", "thermistor_ohms", "static_pressure", "co_room", "burner_voltage"])
def test_a_reading_is_told_with_its_bands(name: str) -> None:
    """Each outcome with what the meter shows of it."""
    from faultodds_cli.bench.show import meaning_lines

    k = load("gas_dryer")
    said = " ".join(meaning_lines(k, name))
    assert all(outcome in said for outcome in k.reading[name].bands)
    assert re.search(r"\d", said)


def test_what_is_seen_is_told_with_its_words() -> None:
    """A look has no bands: each outcome in words."""
    from faultodds_cli.bench.show import meaning_lines

    said = " ".join(meaning_lines(load("gas_dryer"), "glow_look"))
    assert "glow_stays: glows on and on, no flame" in " ".join(said.split())
