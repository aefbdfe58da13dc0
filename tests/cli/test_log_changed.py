"""A log that was corrected after learning: `accept` says so and asks, whichever way it was corrected."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.joblog import files_of
from run_cli import faultodds
from technician_log import EVEN, Habit, write


@pytest.fixture
def learned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A revision learned from the log `shop`, on which an audit found nothing against it."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path))
    write(tmp_path / "shop.csv", {name: Habit(0.0, 0.05) for name in EVEN}, jobs=150, heed=True)
    assert faultodds("log", "import", str(tmp_path / "shop.csv"), "--yes").code == 0
    name = str(faultodds("tune", "shop", "--no-intervals", "--json").answer["revision"])
    from faultodds.revisions import Verdict, judge

    judge(
        "gas_dryer", name, Verdict(day="2026-01-01", base="file", known=True, worse=False, words="It forecasts better.")
    )
    return name


def _in_use() -> str:
    return str(faultodds("revision", "list", "--json").answer["accepted"])


def test_an_untouched_log_is_not_asked_about(learned: str) -> None:
    """Importing the same file again changes nothing either."""
    shop = Path(files_of("shop").folder).parent / "shop.csv"
    assert faultodds("log", "import", str(shop), "--yes", "--force").code == 0
    assert faultodds("revision", "accept", learned).code == 0
    assert _in_use() == learned


def test_a_log_imported_anew_with_a_corrected_cell_is_asked_about(learned: str) -> None:
    """The visits then and now are told; nothing is accepted unawares, and it can be all the same."""
    shop = Path(files_of("shop").folder).parent / "shop.csv"
    text = shop.read_text("utf-8")
    shop.write_text(text.replace("new igniter", "new flame sensor", 3), "utf-8")
    assert faultodds("log", "import", str(shop), "--yes", "--force").code == 0
    refused = faultodds("revision", "accept", learned)
    assert refused.code == 2 and _in_use() == "file"
    assert "log 'shop' was changed after" in refused.text and "faultodds tune shop" in refused.text
    assert faultodds("revision", "accept", learned, "--anyway").code == 0
    assert _in_use() == learned


def test_phrases_explained_and_not_yet_imported_are_asked_about(learned: str) -> None:
    """What was written into the table of phrases counts only once the log is imported with it; that is said with the command."""
    table = files_of("shop").phrases
    lines = table.read_text("utf-8-sig").splitlines()
    lines[1] += "-"
    table.write_text("\n".join(lines) + "\n", "utf-8-sig")
    refused = faultodds("revision", "accept", learned, "--json")
    assert refused.code == 2 and _in_use() == "file"
    assert "1 phrase of the log 'shop' was explained and not yet imported" in refused.said
    assert "--phrases" in refused.said


def test_a_log_that_is_gone_or_elsewhere_is_not_asked_about(learned: str) -> None:
    """Nothing is known of it then."""
    for path in files_of("shop").folder.glob("shop.*"):
        path.unlink()
    assert faultodds("revision", "accept", learned).code == 0
