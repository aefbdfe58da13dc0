"""The simulator stands alone, and its names are the ones that the project agreed on."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import faultodds_sim
from faultodds_sim.checks import READERS
from faultodds_sim.errors import UnknownNameError, pick
from faultodds_sim.faults import ABRUPT, MODE_NEEDS, MODES
from faultodds_sim.findings import AIR_BAD, POINTS_TO
from faultodds_sim.hazards import NOTICED
from faultodds_sim.logwords import COMPLAINT_WORDS, LOOK_WORDS, NUMBERS, PART_WORDS, PRICE_LIST, SWITCH_WORDS
from faultodds_sim.names import CHECK_NEEDS, CHECKS, NOTHING, SYMPTOMS, UNLISTED
from faultodds_sim.repairs import CURES, REPAIRS
from faultodds_sim.technicians import TECHNICIANS

FOLDER = Path(faultodds_sim.__file__).parent
FILES = sorted(FOLDER.glob("**/*.py"))


def _imports(path: Path) -> set[str]:
    """Top-level packages that a file imports, by any form of import statement."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            found.add((node.module or "").split(".")[0])
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith(("import_module", "__import__")):
            found.add("a dynamic import")
    return found


def test_the_walk_sees_imports(tmp_path: Path) -> None:
    """The walk used below finds an import of the model when there is one, also inside a function."""
    path = tmp_path / "bad.py"
    path.write_text("def f():\n    from faultodds.belief import odds\n    return odds\n", encoding="utf-8")
    assert _imports(path) == {"faultodds"}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_no_import_of_the_model(path: Path) -> None:
    """No file of the simulator imports the model or the command line."""
    assert len(FILES) > 20
    assert not _imports(path) & {"faultodds", "faultodds_cli", "a dynamic import"}


def test_every_check_has_a_reader_and_every_mode_a_cure() -> None:
    """Checks, modes, repairs and hazards speak of the same things."""
    assert set(READERS) == set(CHECKS)
    assert set(MODES) - set(CURES) == {NOTHING, UNLISTED}
    assert {repair for cures in CURES.values() for repair in cures} <= set(REPAIRS)
    assert set(MODE_NEEDS) <= set(MODES)
    assert set(CHECK_NEEDS) <= set(CHECKS)
    assert set(NOTICED) | ABRUPT >= set(MODES)


def test_findings_name_real_outcomes_and_repairs() -> None:
    """What the shop's technicians act on are outcomes that checks have, and repairs that exist."""
    for check, outcome in [*POINTS_TO, *AIR_BAD]:
        assert outcome in CHECKS[check][1:]
    assert set(POINTS_TO.values()) <= set(REPAIRS)
    assert all(set(person.order) <= set(CHECKS) for person in TECHNICIANS.values())


def test_the_log_has_words_for_everything() -> None:
    """Every outcome, symptom, part and price can be written down."""
    for check, outcomes in CHECKS.items():
        if check != "verification_run" and check not in NUMBERS:
            assert len(LOOK_WORDS.get(check, SWITCH_WORDS)) == len(outcomes), check
    assert {k: len(v) for k, v in COMPLAINT_WORDS.items()} == {k: len(v) for k, v in SYMPTOMS.items()}
    assert set(PART_WORDS) == set(PRICE_LIST) == set(REPAIRS)


def test_the_agreed_sizes() -> None:
    """56 modes and nothing wrong, 17 symptoms, 49 checks, 37 repairs."""
    assert (len(MODES), len(SYMPTOMS), len(CHECKS), len(REPAIRS)) == (57, 17, 49, 37)


def test_a_strange_name_gets_the_nearest_one() -> None:
    """The error names what was found and the nearest valid name."""
    with pytest.raises(UnknownNameError) as error:
        pick("check", "igniter_ohm", CHECKS)
    assert str(error.value) == "unknown check 'igniter_ohm'; did you mean 'igniter_ohms'?"
    with pytest.raises(UnknownNameError, match="unknown file kind 'xls'; try one of: csv, parquet"):
        pick("file kind", "xls", ["csv", "parquet"])
