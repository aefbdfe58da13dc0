"""What a manager writes a phrase to mean reaches the cells in which it stands beside others; where it does not, that is shown.
The cells were written before the code."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.joblog import phrases
from faultodds.joblog.cells import CellReader
from faultodds.joblog.drafts import draft, with_phrases
from faultodds.joblog.folder import files_of
from faultodds.joblog.importing import import_log
from faultodds.joblog.mapping import Column
from faultodds.joblog.phrases import Phrase
from faultodds.knowledge import Knowledge
from faultodds_cli.log.show import phrase_lines
from shop_logs import write

SEEN = Column(
    "Seen",
    "findings",
    words={
        "igniter never dims": "burner_watch=glow_stays",
        "flame sensor kit short, kept on": "burner_watch=glow_stays",
        "belt glazed": "-",
    },
)
WORK = Column(
    "Work", "repairs", words={"fs kit": "flame_sensor", "belt ordered": "-", "not needed": "-", "coils ok": "-"}
)


def said(dryer: Knowledge, column: Column, text: str) -> set[str]:
    """What a cell says, as the table of phrases has it."""
    told = CellReader(column, dryer).read(text).said
    return {f"{c.partition(':')[2]}={v}" if ":" in c else each for c, v in told for each in v.split(";")}


@pytest.mark.parametrize(
    ("column", "text", "told"),
    [
        (SEEN, "duct full of lint, igniter never dims", {"duct_look=lint", "burner_watch=glow_stays"}),
        (SEEN, "igniter never dims and belt broken", {"burner_watch=glow_stays", "belt_rollers_look=broken"}),
        (SEEN, "belt broken - Igniter NEVER dims", {"burner_watch=glow_stays", "belt_rollers_look=broken"}),
        (
            SEEN,
            "belt broken / flame sensor kit short, kept on",
            {"burner_watch=glow_stays", "belt_rollers_look=broken"},
        ),
        (SEEN, "duct full of lint, belt glazed", {"duct_look=lint"}),
        (WORK, "new belt, fs kit", {"belt_idler", "flame_sensor"}),
        (WORK, "fs kit + cleaned duct", {"flame_sensor", "clean_duct"}),
    ],
)
def test_a_correction_reaches_cells_that_hold_the_phrase(
    column: Column, text: str, told: set[str], dryer: Knowledge
) -> None:
    """With what else the cell says."""
    assert said(dryer, column, text) == told


@pytest.mark.parametrize(
    "text", ["igniter, belt ordered", "igniter, not needed", "igniter; belt ordered", "igniter and belt ordered"]
)
def test_a_correction_takes_no_denial_from_its_neighbours(text: str, dryer: Knowledge) -> None:
    """What is put off or denied beside a part is read as without the correction: "igniter, not needed" is no new igniter."""
    assert said(dryer, WORK, text) == said(dryer, Column("Work", "repairs"), text)


def test_a_longer_thought_is_not_cut_up_and_is_shown(tmp_path: Path, data: str, dryer: Knowledge) -> None:
    """A phrase inside a longer one may be denied there: that cell is read as before, and comes first in the table."""
    assert "burner_watch=glow_stays" not in said(dryer, SEEN, "could not see whether igniter never dims")
    seen = ["igniter glows, goes out", "it looks as if igniter glows, goes out", "belt broken"]
    rows = [f'J{n},2024-01-{1 + n % 28:02},no heat,"{seen[n % 3]}",new coils' for n in range(60)]
    path = write(tmp_path / "jobs.csv", "\n".join(["job,date,complaint,seen,work done", *rows]) + "\n")
    import_log(draft(path, dryer, data=data), dryer, data=data)
    table = files_of("jobs", data).phrases
    text = table.read_text("utf-8-sig").splitlines()
    mine = [line + "burner_watch=glow_stays" if '"igniter glows, goes out"' in line else line for line in text]
    assert mine != text
    corrected = write(tmp_path / "mine.csv", "\n".join(mine) + "\n")
    import_log(with_phrases(draft(path, dryer, data=data), corrected, dryer), dryer, data=data)
    found = {p.phrase: p for p in phrases.kept_phrases(table)}
    assert found["igniter glows, goes out"].became == "burner_watch=glow_stays"
    assert not found["igniter glows, goes out"].odd and not found["belt broken"].odd
    left = found["it looks as if igniter glows, goes out"]
    assert left.odd or left.became == "burner_watch=glow_stays"


def test_what_is_to_be_looked_at_first_is_short_enough_to_be_looked_at(tmp_path: Path) -> None:
    """Work before findings, the commonest first; how many more, and where they are."""
    found = [Phrase("Notes", f"no draught {n}", n, "hood_flap=none", True) for n in range(1, 61)]
    found += [Phrase("Notes", "igniter quoted", 2, "igniter", True), Phrase("Notes", "belt", 99, "belt_idler", False)]
    shown = phrase_lines(phrases.in_order(found), 40, tmp_path / "a.csv")
    first = shown[: shown.index("THE REST, commonest first")]
    assert "igniter quoted" in first[2] and "no draught 60" in first[3] and len(first) < 20
    assert "and 48 more of these, rarer ones, marked ! in the first column of" in " ".join(first)
    assert any("'belt'" in line for line in shown)
    every = phrase_lines(phrases.in_order(found), 183, tmp_path / "a.csv")
    assert sum("no draught" in line for line in every) == 60 and not any("more of these" in line for line in every)
