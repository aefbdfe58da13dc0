"""A technician who fits wrong parts: what did not hold is told, and does not make the first cause commoner than it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.joblog import draft, import_log, read_clean
from faultodds.knowledge.loading import load
from faultodds.tuning.fitting import fit
from faultodds.tuning.from_log import failed_notes
from faultodds.tuning.groups import repairs_that_held
from faultodds.tuning.settings import Settings
from technician_log import EVEN, ONE_BAD, PARTS, Habit, write

COILS = "component/coils/modes/drop_out_hot/share"


@pytest.mark.parametrize("seed", [11, 12])
def test_wrong_coils_do_not_raise_the_share_of_the_coils(seed: int, tmp_path: Path) -> None:
    """Coils are what is fitted by mistake. With findings written down their learned share stays by the truth, though coils were
    fitted far more often; the plain count of what held does as well."""
    dryer, path, data = load("gas_dryer"), tmp_path / "shop.csv", str(tmp_path / "data")
    true = write(path, {name: Habit(0.2, 0.05) for name in EVEN}, jobs=900, seed=seed, heed=True)
    import_log(draft(path, dryer, data=data), dryer, data)
    frame = read_clean(Path(data) / "logs" / "shop.parquet")
    calls = sum(true.values())
    done = frame["repairs"].astype(object).dropna().str.split(";").explode()
    fitted = float((done == "coil_set").mean())
    held, telling = repairs_that_held(frame, dryer)
    learned = fit(dryer, frame, Settings()).numbers[COILS] / 100
    share = true["coils"] / calls
    print(
        f"coils: true {share:.3f}, of all repairs {fitted:.3f}, held {held['coils.drop_out_hot'] / telling:.3f}, {learned:.3f}"
    )
    assert fitted > share + 0.025
    assert abs(learned - share) < 0.025 and abs(held["coils.drop_out_hot"] / telling - share) < 0.025


def test_learning_says_what_became_of_repairs_that_did_not_hold(tmp_path: Path) -> None:
    """With counts, and with the name of who differs; in a log where all held nothing is said."""
    dryer, data = load("gas_dryer"), str(tmp_path / "data")
    told = {}
    for name, people in (("bad", ONE_BAD), ("none", {n: Habit(0.0, 0.0) for n in EVEN})):
        write(tmp_path / f"{name}.csv", people, seed=13)
        import_log(draft(tmp_path / f"{name}.csv", dryer, data=data), dryer, data)
        told[name] = " ".join(failed_notes(read_clean(Path(data) / "logs" / f"{name}.parquet")))
    assert told["none"] == ""
    assert "counts as a repair that held" in told["bad"] and "TC was called back more often" in told["bad"]
    assert sum(share for share, *_ in PARTS.values()) == pytest.approx(1.0)
