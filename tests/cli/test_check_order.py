"""The list of checks: in the order of what the whole job costs, or with the reason why not."""

from __future__ import annotations

from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench
from faultodds.job import OpenJob, Store
from faultodds_cli.shared.show_advice import check_lines

LINES = (
    ("dry_time longer",),
    ("heat none", "burner_watch no_glow"),
    ("heat cools_off", "repair coil_set"),
    ("heat none", "burner_watch no_glow", "fuse_continuity 0.2"),
    ("cabinet_hot yes", "hood_flap strong", "hood_air_speed good"),
)


@pytest.mark.parametrize("lines", LINES, ids=[line[-1] for line in LINES])
def test_a_dearer_check_stands_first_with_its_reason_only(tmp_path: Path, lines: tuple[str, ...]) -> None:
    """Of the rest each is as dear as the one before, or for qualified people, or not worked out; each of that is said."""
    bench(tmp_path, *STRAIGHT_ON, *lines)
    with Store.open(tmp_path) as store:
        view = OpenJob.resume(store, "1").now
    shown = view.advice.telling_checks
    text = " ".join(" ".join(check_lines(view, shown)).split())
    qualified = {n for n, c in view.appliance.knowledge.check.items() if c.qualified}
    costs = [round(c.expected_cost) for c in shown if c.priced and c.name not in qualified]
    assert costs[1:] == sorted(costs[1:])
    assert ("1 comes first: " in text) == (costs[0] > min(costs))
    assert ("qualified people comes last" in text) == bool(qualified & {c.name for c in shown})
    assert ("more: not worked out" in text) == (not all(c.priced for c in shown))
