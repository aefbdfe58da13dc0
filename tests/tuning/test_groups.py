"""Repair groups, what a log says put a job right, and tables of the truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from faultodds.audit.truth import read_truth, truth_labels
from faultodds.errors import FaultoddsError, UnknownName
from faultodds.knowledge.loading import load
from faultodds.knowledge.tables import main_cause_states
from faultodds.tuning.groups import NOT_KNOWN, log_labels, repair_groups
from toys import raw_toy, toy

DRYER = load("gas_dryer")
GROUPS = repair_groups(DRYER)


def _name(column: int) -> str:
    return GROUPS.names[column]


def test_every_main_cause_has_the_group_of_its_cheapest_repair() -> None:
    """Causes that one repair puts right share its group; nothing wrong and unlisted stand alone."""
    assert list(GROUPS.of_main) == list(main_cause_states(DRYER))
    assert _name(GROUPS.of_main["duct.partly_blocked"]) == _name(GROUPS.of_main["duct.nearly_blocked"]) == "clean_duct"
    assert _name(GROUPS.of_main["coils.open"]) == "coil_set"
    assert _name(GROUPS.of_main["gas_valve.sticking"]) == "gas_valve"
    assert _name(GROUPS.of_main["nothing_wrong"]) == "nothing_wrong"
    assert _name(GROUPS.of_main["unlisted.present"]) == "unlisted"


def test_a_dearer_repair_for_the_same_faults_stands_for_the_cheaper_ones_group() -> None:
    """A repair that is nobody's cheapest belongs to the group of what it fixes."""
    raw = raw_toy()
    raw["repair"]["gold_pump"] = {**raw["repair"]["new_pump"], "title": "gold pump", "cost": 500}
    groups = repair_groups(toy(**raw))
    assert groups.names == ("new_pump", "new_belt", "new_fuse", "nothing_wrong", "unlisted")
    assert groups.of_repair["gold_pump"] == groups.of_repair["new_pump"] == 0


def test_chances_of_main_causes_add_up_to_chances_of_groups() -> None:
    """Nothing is lost or counted twice on the way from causes to groups."""
    p = np.random.default_rng(0).dirichlet(np.ones(len(GROUPS.of_main)), 5)
    by_group = GROUPS.from_mains(p)
    assert by_group.sum(axis=1) == pytest.approx(1.0)
    mains = list(GROUPS.of_main)
    both = p[:, mains.index("duct.partly_blocked")] + p[:, mains.index("duct.nearly_blocked")]
    assert by_group[:, GROUPS.names.index("clean_duct")] == pytest.approx(both)


LOG = pd.DataFrame(
    [
        # repairs, failed, ended, followed -> label
        ("coil_set", None, "gone", 60.0, "coil_set"),
        ("igniter;coil_set", "igniter", "gone", 60.0, "coil_set"),
        ("igniter;coil_set", None, "gone", 60.0, None),
        ("coil_set;coil_set", None, "gone", 60.0, "coil_set"),
        ("coil_set", None, "gone", 29.0, None),
        ("coil_set", None, "came_back", 60.0, None),
        ("coil_set", None, "unknown", 60.0, None),
        ("coil_set", None, None, 60.0, None),
        (None, None, "gone", 60.0, None),
        ("coil_set", "coil_set", "gone", 60.0, None),
        ("coil_set", None, "gone", np.nan, None),
    ],
    columns=["repairs", "failed", "ended", "followed_days", "label"],
)


@pytest.mark.parametrize("kind", ["category", "object"])
def test_a_job_tells_what_put_it_right_only_when_it_can_be_known(kind: str) -> None:
    """One repair group, the complaint gone, the whole window to come back: else the job is not scored."""
    frame = LOG.astype({"repairs": kind, "failed": kind, "ended": kind})
    found = [None if c == NOT_KNOWN else _name(int(c)) for c in log_labels(frame, DRYER, GROUPS)]
    assert found == [None if pd.isna(x) else x for x in LOG["label"]]


def test_a_log_without_these_columns_tells_nothing() -> None:
    """Missing columns mean that nothing is known, not an error."""
    assert log_labels(pd.DataFrame({"job": ["1", "2"]}), DRYER, GROUPS).tolist() == [NOT_KNOWN, NOT_KNOWN]


def test_the_truth_table_is_matched_by_job_and_minds_what_was_left() -> None:
    """Jobs not in the table are not known; a cause put right on an earlier visit gives way to what was still there."""
    truth = pd.DataFrame(
        {
            "ticket": ["A", "B", "C", "D"],
            "main_cause": ["coils.open", "duct.partly_blocked", "nothing_wrong", "unlisted"],
            "modes": ["coils.open|thermal_fuse.open", "thermal_fuse.open|belt.broken", "nothing_wrong", "unlisted"],
        }
    )
    found = truth_labels(truth, ["D", "A", "B", "C", "Z"], DRYER, GROUPS)
    assert [_name(c) for c in found[:4]] == ["unlisted", "coil_set", "thermal_fuse", "nothing_wrong"]
    assert found[4] == NOT_KNOWN


def test_truth_tables_that_cannot_be_used_are_refused_in_a_sentence(tmp_path: Path) -> None:
    """A missing file, missing columns and an unknown cause each say what to do."""
    with pytest.raises(FaultoddsError, match="there is no such file"):
        read_truth(tmp_path / "none.csv")
    path = tmp_path / "t.csv"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(FaultoddsError, match="a column 'main_cause'; this one has: a, b"):
        read_truth(path)
    (tmp_path / "t.parquet").write_bytes(b"not parquet")
    with pytest.raises(FaultoddsError, match="cannot be read as a table"):
        read_truth(tmp_path / "t.parquet")
    wrong = pd.DataFrame({"job": ["1"], "main_cause": ["coils.opn"]})
    with pytest.raises(
        UnknownName, match=r"job 1: there is no main cause called 'coils.opn'. Did you mean 'coils.open'"
    ):
        truth_labels(wrong, ["1"], DRYER, GROUPS)
