"""Repairs that held and learned shares that gainsay each other: told of where a finding was read as its opposite, and not where all
is well. The cases were written before the code."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from coded_logs import coded_log
from faultodds.joblog import Phrase, clean, find_log, read_clean
from faultodds.knowledge import Knowledge, load, overlay
from faultodds.tuning.contradictions import Contradiction, contradictions, sentence
from faultodds.tuning.draw import draw_log
from faultodds.tuning.fitting import fit
from faultodds.tuning.groups import repairs_that_held
from faultodds.tuning.structure import structure_of
from faultodds_cli.main import run
from shops.kinds import Shop
from shops.writing import log as write_log
from toys import raw_toy, toy


def found_in(knowledge: Knowledge, log: pd.DataFrame) -> list[Contradiction]:
    """The contradictions of a log, the learned shares being sure."""
    learned = fit(knowledge, log)
    structure = structure_of(knowledge, learned.settings.omitted_target)
    return contradictions(structure, log, learned, learned.families.padded(learned.theta)[learned.families.share])


def read_as(log: pd.DataFrame, repair: str, finding: str, share: float = 1.0) -> pd.DataFrame:
    """The log with a finding (`name=outcome`) on so many of the visits on which a repair was done, whatever it was there."""
    name, outcome = finding.split("=")
    done = log[clean.REPAIRS].astype(str).str.split(";").apply(lambda names: repair in names).to_numpy()
    hit = done & (np.random.default_rng(4).random(len(log)) < share)
    column = log[clean.FOUND + name].astype(object).where(~hit, outcome)
    return log.assign(**{clean.FOUND + name: pd.Categorical(column)})


@pytest.mark.parametrize(
    ("mode", "repair", "share"),
    [("flame_sensor/modes/stuck_closed", "flame_sensor", 0.9), ("timer/modes/contacts_burnt", "timer", 1.0)],
)
def test_a_finding_read_as_its_opposite_is_told_of(mode: str, repair: str, share: float) -> None:
    """With the repair, both numbers, and the finding. The shop has many of a fault that the file thinks rare, and what it writes of
    them is read as a burner that does not shut off."""
    dryer = load("gas_dryer")
    shop = overlay.apply(dryer, {f"component/{mode}/share": 16.0})
    (only,) = found_in(dryer, read_as(draw_log(shop, 400, seed=3, missing=0.6), repair, "burner_watch=burns_on", share))
    assert only.repair == repair
    assert [(column, value) for column, value, _ in only.against] == [(clean.FOUND + "burner_watch", "burns_on")]
    assert only.held / only.of > 4 * only.learned
    assert only.known


def test_a_log_that_tells_of_no_ending_is_looked_through_as_well() -> None:
    """Nothing held, as far as it tells: the repairs that were done are counted, and called so."""
    dryer = load("gas_dryer")
    shop = overlay.apply(dryer, {"component/timer/modes/contacts_burnt/share": 16.0})
    log = read_as(draw_log(shop, 300, seed=8, missing=0.6), "timer", "burner_watch=burns_on")
    (only,) = found_in(dryer, log.drop(columns=[clean.ENDED, clean.BACK_AFTER, clean.FOLLOWED]))
    assert (only.repair, only.known) == ("timer", False)
    assert "is the repair that alone was done on" in sentence(dryer, only, [], "log")
    assert found_in(dryer, draw_log(shop, 300, seed=8, missing=0.6).drop(columns=[clean.ENDED])) == []


@pytest.mark.parametrize("seed", range(6))
def test_a_log_with_nothing_misread_is_not_accused(seed: int) -> None:
    """Whatever the shop's shares, and few visits as well as many."""
    rng = np.random.default_rng(seed)
    parts = raw_toy()["component"]
    for part in parts.values():
        for mode in part["modes"].values():
            mode["share"] *= float(np.exp(rng.normal(0, 0.9)))
    log = draw_log(toy(component=parts), [60, 200, 800][seed % 3], seed=seed, missing=[0.2, 0.6][seed % 2])
    assert found_in(toy(), log) == []


def test_a_dryer_log_that_hangs_together_otherwise_than_the_file_is_not_accused() -> None:
    """A shop that cleans ducts by rule, and whose findings the file does not quite know: the simulated one."""
    assert found_in(load("gas_dryer"), coded_log(400, 5)[0]) == []


def test_parts_fitted_to_be_on_the_safe_side_are_no_contradiction(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A shop that fits gas valves where it needs coils: the count is eight times the share, and rightly so."""
    monkeypatch.setenv("FAULTODDS_DATA", str(tmp_path / "data"))
    write_log(Shop("mill_street"), 300, 1, tmp_path / "mill.csv", tmp_path / "mill.json")
    assert run(["log", "import", str(tmp_path / "mill.csv"), "--name", "mill", "--yes", "--json"]) == 0
    frame, dryer = read_clean(find_log("mill")), load("gas_dryer")
    held, telling = repairs_that_held(frame, dryer)
    assert held["gas_valve.sticking"] > 0.06 * telling
    assert found_in(dryer, frame) == []


def test_the_sentence_names_both_numbers_the_phrases_and_what_to_type() -> None:
    """And of several phrases the commonest first; none that became something else."""
    told = Contradiction(
        "new_fuse", ("fuse.open",), 40, 200, 0.01, (("found:fuse_test", "closed", 38),), 40, "pump.dead"
    )
    phrases = [
        Phrase("Notes", "no beep on fuse", 5, "fuse_test=closed; listen=silent", False),
        Phrase("Seen", "fuse gone", 33, "fuse_test=closed", False),
        Phrase("Seen", "fuse ol", 9, "fuse_test=open", False),
    ]
    said = sentence(toy(), told, phrases, "spring")
    assert "'new fuse' is the repair that held on 40 of 200 visits (20 %)" in said
    assert "'fuse: open', was learned as 1 % of calls" in said
    assert "38 of 40 of these visits say fuse_test=closed ('closed'), which speaks against that fault" in said
    assert "put down to 'pump: dead'" in said
    assert said.index("'fuse gone' (Seen, 33 times)") < said.index("'no beep on fuse' (Notes, 5 times)")
    assert "fuse ol" not in said
    assert "faultodds log phrases spring" in said
