"""A clean log with bytes turned over: refused by name, or read as it was; never an error of its own, never another finding."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from faultodds.errors import FaultoddsError
from faultodds.joblog import clean, export_log, files_of
from faultodds.joblog.describe import describe
from faultodds.knowledge import Knowledge
from run_cli import faultodds

PLACES = 40


def a_log() -> pd.DataFrame:
    """Sixty visits."""
    return pd.DataFrame(
        {
            "job": [f"J{n}" for n in range(60)],
            "day": pd.to_datetime([f"2022-0{1 + n // 28}-{1 + n % 28:02}" for n in range(60)]),
            "found:coil_ohms": ["good", None, "off:0.7|good:0.3"] * 20,
            "repairs": ["coil_set;igniter", None, "coil_set"] * 20,
            "ended": ["gone", "unknown", "came_back"] * 20,
            "back_after_days": [None, None, 4.0] * 20,
        }
    )


def turned_over(whole: bytes, place: int) -> bytes:
    """The bytes with one of them changed."""
    return whole[:place] + bytes([whole[place] ^ 0x55]) + whole[place + 1 :]


def test_every_reader_refuses_or_reads_what_was_written(tmp_path: Path, dryer: Knowledge) -> None:
    """At forty places all over the file."""
    path = tmp_path / "d.parquet"
    clean.write_clean(a_log(), path)
    whole, as_it_was = path.read_bytes(), clean.read_clean(path)
    readers: list[Callable[[], object]] = [
        lambda: sum(len(piece) for piece in clean.read_chunks(path)),
        lambda: describe(path),
        lambda: clean.visits(path),
        lambda: clean.is_clean_file(path),
        lambda: export_log(path, tmp_path / "out.csv", force=True),
    ]
    refused = 0
    for place in range(0, len(whole), len(whole) // PLACES):
        path.write_bytes(turned_over(whole, place))
        for reader in readers:
            with contextlib.suppress(FaultoddsError):
                reader()
        try:
            frame = clean.read_clean(path)
            clean.validate(frame, dryer)
        except FaultoddsError:
            refused += 1
            continue
        pd.testing.assert_frame_equal(frame, as_it_was)
    assert refused > PLACES / 2


@pytest.fixture
def damaged(data: str) -> Path:
    """A log of that kind in the data folder."""
    files = files_of("d", data)
    clean.write_clean(a_log(), files.clean)
    whole = files.clean.read_bytes()
    files.clean.write_bytes(turned_over(whole, 40))
    return files.clean


@pytest.mark.parametrize(
    "command",
    [
        "log describe d",
        "log export d --to {}/out.csv",
        "tune d",
        "audit d",
        "shop from-log d {}/shop.toml",
    ],
)
def test_every_command_names_the_file_and_the_way_out(command: str, damaged: Path, data: str, tmp_path: Path) -> None:
    """Refused, with exit code 2."""
    told = faultodds(*command.format(tmp_path).split(), "--data", data)
    assert told.code == 2
    said = "".join(told.err.split())  # however a long path was broken
    assert f"{damaged}cannotbereadasacleanlog:itisdamaged" in said
    assert "faultoddslogimportFILE" in said


def test_the_list_says_which_is_damaged(damaged: Path, data: str) -> None:
    """In place of its visits."""
    told = faultodds("log", "list", "--data", data)
    assert told.code == 0
    assert "d damaged" in told.text
    assert "it is damaged" in told.text
