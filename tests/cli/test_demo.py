"""`demo`: a whole job with nothing to type."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from run_cli import Ran, faultodds


@pytest.fixture(scope="module")
def data_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where jobs would be kept; not there yet."""
    return tmp_path_factory.mktemp("home") / "data"


@pytest.fixture(scope="module")
def shown(data_folder: Path) -> Ran:
    """What `demo` prints."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTODDS_DATA", str(data_folder))
        return faultodds("demo")


def test_it_goes_from_complaint_to_closed(shown: Ran) -> None:
    """Complaint, stop signs, moves, the right repair, a verification, closed; then what to type."""
    assert shown.code == 0, shown.err
    heads = ["A DEMO JOB. Shop, customer and machine are invented.", "Can you or the customer smell gas?",
             "FAULT ODDS", "---- move 1 ", "The technician enters: ", "DO NEXT: REPAIR. New gas valve coils",
             "verification_run = ", "---- the end ", "Job closed: fault gone.",
             "It was what the machine had.", "Now yours."]  # fmt: skip
    places = [shown.out.index(head) for head in heads]
    assert places == sorted(places)


def test_it_names_no_fault_before_the_engine_does(shown: Ran) -> None:
    """The odds shown are the engine's: the coils' chance rises until the repair, then falls."""
    chances = [int(p) for p in re.findall(r"drop out when hot .*?(\d+) % +(?:under )?\d+ %", shown.out)]
    assert len(chances) >= 3
    assert max(chances) > chances[0]
    assert chances[-1] < max(chances)


def test_it_fits_the_terminal(shown: Ran) -> None:
    """At most 80 columns."""
    assert max(map(len, shown.out.splitlines())) <= 80


def test_it_writes_nothing_unless_asked(shown: Ran, data_folder: Path, tmp_path: Path) -> None:
    """No store is written without --save; with it the job is there, closed."""
    assert shown.code == 0
    assert not data_folder.exists()
    kept = faultodds("demo", "--save", str(tmp_path / "kept"))
    assert kept.code == 0, kept.err
    from faultodds.job.store import Store

    with Store.open(tmp_path / "kept") as store:
        (job,) = store.list()
        assert job.outcome == "gone"
        assert "coil_set" in job.repairs
