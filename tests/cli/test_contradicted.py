"""A log whose words are read as what they do not mean: said first by every command that shows what was learned, and asked about."""

from __future__ import annotations

import random
from datetime import date, timedelta
from pathlib import Path

import pytest

from run_cli import faultodds

# complaint, what was found, what was done, how often. "Burner keeps burning" is this shop's word for a glow that never goes out.
KINDS = (
    ("no heat", "burner keeps burning", "new timer", 16),
    ("no heat", "coils open", "new gas valve coils", 16),
    ("takes two cycles", "duct full of lint", "cleaned the vent line", 30),
    ("drum does not turn", "belt broken", "new belt", 14),
    ("no heat", "igniter open", "new igniter", 14),
)


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with such a log, imported as `shop`."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path))
    rng, day = random.Random(3), date(2025, 1, 2)
    rows = ["job,date,customer,complaint,what we found,work done"]
    for n in range(260):
        complaint, found, work, _ = rng.choices(KINDS, [kind[3] for kind in KINDS])[0]
        day += timedelta(days=rng.choice([0, 1, 1, 2]))
        rows.append(f"J{n},{day},C{rng.randint(1, 220)},{complaint},{found},{work}")
    path = tmp_path / "shop.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    assert faultodds("log", "import", str(path), "--yes").code == 0
    return tmp_path


@pytest.mark.usefixtures("data")
def test_it_is_said_first_with_the_phrase_and_accepting_asks() -> None:
    """`tune`, `revision show` and `audit` say it before anything else; `accept` refuses until told."""
    ran = faultodds("tune", "shop", "--no-intervals")
    assert ran.text.startswith("LOOK FIRST: the repairs and what was learned contradict each other")
    assert "'New timer' is the repair that held on" in ran.text and "burner_watch=burns_on" in ran.text
    assert "'burner keeps burning' (what we found," in ran.text and "faultodds log phrases shop" in ran.text
    name = faultodds("revision", "list", "--json").answer["revisions"][0]["revision"]
    assert faultodds("revision", "show", name).text.startswith("LOOK FIRST")
    assert faultodds("audit", "shop", "--no-rivals", "--stages", "complaint").text.startswith("LOOK FIRST")
    refused = faultodds("revision", "accept", name)
    assert refused.code == 2 and "LOOK FIRST" in refused.text
    assert f"faultodds revision accept {name} --anyway" in refused.said
    assert faultodds("revision", "list", "--json").answer["accepted"] == "file"


def test_once_the_phrase_is_put_right_it_is_gone(data: Path) -> None:
    """What the shop meant is written into the table of phrases; then nothing contradicts the count, and the share follows it."""
    table = data / "logs" / "shop.phrases.csv"
    lines = table.read_text("utf-8-sig").splitlines()
    mine = data / "mine.csv"
    mine.write_text("\n".join(x + "timer_contacts=burnt" if "burner keeps" in x else x for x in lines) + "\n", "utf-8")
    ran = faultodds("log", "import", str(data / "shop.csv"), "--phrases", str(mine), "--yes")
    assert ran.code == 0, ran.said
    ran = faultodds("tune", "shop", "--no-intervals")
    assert "LOOK FIRST" not in ran.text
    share = {n["title"]: n["learned"] for n in faultodds("tune", "shop", "--no-intervals", "--json").answer["numbers"]}
    assert share["timer: heat contacts burnt"] > 0.08
