"""The clean log: its cells, its file, and the names in it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, strategies as st

from faultodds.errors import FaultoddsError, UnknownName
from faultodds.joblog import clean
from faultodds.knowledge.schema import Knowledge


def a_log() -> pd.DataFrame:
    """Three visits."""
    return pd.DataFrame(
        {
            "job": ["1", "2", "3"],
            "day": pd.to_datetime(["2022-01-03", None, "2022-01-05"]),
            "found:coil_ohms": ["good", None, "off:0.7|good:0.3"],
            "repairs": ["coil_set;igniter", None, None],
            "ended": ["gone", "unknown", "came_back"],
            "back_after_days": [None, None, 4.0],
        }
    )


def test_a_log_comes_back_as_it_was_written(tmp_path: Path, dryer: Knowledge) -> None:
    """Days, numbers and text survive; text comes back as categories, and a gap stays a gap."""
    clean.write_clean(a_log(), tmp_path / "log.parquet")
    back = clean.read_clean(tmp_path / "log.parquet")
    clean.validate(back, dryer)
    assert back["found:coil_ohms"].tolist()[0::2] == ["good", "off:0.7|good:0.3"]
    assert back["found:coil_ohms"].isna().tolist() == [False, True, False]
    assert str(back["found:coil_ohms"].dtype) == "category"
    assert back["day"].isna().tolist() == [False, True, False]
    assert back["back_after_days"].tolist()[2] == 4.0


def test_a_log_can_be_read_in_pieces(tmp_path: Path) -> None:
    """The pieces together are the log."""
    clean.write_clean(a_log(), tmp_path / "log.parquet")
    pieces = list(clean.read_chunks(tmp_path / "log.parquet", rows=2))
    assert [len(piece) for piece in pieces] == [2, 1]
    assert [job for piece in pieces for job in piece["job"]] == ["1", "2", "3"]


def test_a_failed_write_leaves_the_old_log(tmp_path: Path) -> None:
    """Nothing takes the old file's place until the new one is whole, and nothing is left lying about."""
    path = tmp_path / "log.parquet"
    clean.write_clean(a_log(), path)
    before = path.read_bytes()
    with pytest.raises(AttributeError), clean.replacing(path) as beside:
        clean.write_clean(None, beside)  # type: ignore[arg-type]
    assert path.read_bytes() == before
    assert [f.name for f in tmp_path.iterdir()] == ["log.parquet"]


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("found:coil_ohms", "of", "no outcome of 'coil_ohms' called 'of'. Did you mean 'off'?"),
        ("found:coil_ohms", "off:0.5|god:0.5", "Did you mean 'good'?"),
        ("repairs", "coil_set;ignitor", "no repair called 'ignitor'. Did you mean 'igniter'?"),
        ("ended", "gonne", "no ending called 'gonne'. Did you mean 'gone'?"),
        ("fact:fuel", "natrual", "no value of 'fuel' called 'natrual'. Did you mean 'natural'?"),
        ("found:hood_flapp", "weak", "Did you mean 'found:hood_flap'?"),
    ],
)
def test_a_wrong_name_is_named_with_the_nearest(dryer: Knowledge, column: str, value: str, words: str) -> None:
    """Every column, outcome, value, repair and ending is checked against the knowledge file."""
    frame = a_log().assign(**{column: value})
    with pytest.raises(UnknownName) as caught:
        clean.validate(frame, dryer)
    assert words in str(caught.value)


def test_a_file_that_is_no_clean_log_is_refused(tmp_path: Path) -> None:
    """Missing, foreign and broken files each say what to type."""
    with pytest.raises(FaultoddsError, match="Type 'faultodds log list'"):
        clean.read_clean(tmp_path / "none.parquet")
    (tmp_path / "broken.parquet").write_bytes(b"PAR1 and no more")
    with pytest.raises(FaultoddsError, match="cannot be read as a clean log"):
        clean.read_clean(tmp_path / "broken.parquet")
    pd.DataFrame({"a": [1]}).to_parquet(tmp_path / "other.parquet")
    with pytest.raises(FaultoddsError, match="no column 'job'"):
        clean.read_clean(tmp_path / "other.parquet")


def test_weights_must_be_numbers_above_nothing() -> None:
    """A split with a weight that is none is refused with an example."""
    for cell in ("open:x|closed:0.3", "open:-1|closed:2", "open:inf"):
        with pytest.raises(FaultoddsError, match=r"such as open:0\.7\|closed:0\.3"):
            clean.weights(cell)


@given(st.dictionaries(st.sampled_from(["open", "closed", "off", "none"]), st.floats(1e-3, 1e3), min_size=1))
def test_a_likelihood_survives_its_cell(likelihood: dict[str, float]) -> None:
    """Two digits are kept: no weight moves by more than one in a hundred of the whole."""
    back = clean.weights(clean.cell_of(likelihood))
    total, again = sum(likelihood.values()), sum(back.values())
    for outcome, weight in likelihood.items():
        assert back.get(outcome, 0.0) / again == pytest.approx(weight / total, abs=0.012)
