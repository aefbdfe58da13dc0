"""Notebooks run from top to bottom, are what their text makes, and keep no outputs."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import nbformat
import pytest

NOTEBOOKS = Path(__file__).resolve().parents[1] / "notebooks"
NAMES = sorted(path.name for path in NOTEBOOKS.glob("*.ipynb"))


def builder() -> ModuleType:
    """`notebooks/build.py`, which is in no package."""
    spec = importlib.util.spec_from_file_location("build_notebooks", NOTEBOOKS / "build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def stored(name: str) -> Any:
    """A notebook as it is in the repository."""
    return nbformat.read(NOTEBOOKS / name, as_version=4)


@pytest.fixture(scope="module")
def this_python(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A Jupyter folder whose python3 kernel is the interpreter that runs the tests."""
    folder = tmp_path_factory.mktemp("jupyter")
    kernel = folder / "kernels" / "python3"
    kernel.mkdir(parents=True)
    command = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
    about = {"argv": command, "display_name": "Python 3", "language": "python"}
    (kernel / "kernel.json").write_text(json.dumps(about), encoding="utf-8")
    return folder


def run(notebook: Any, jupyter: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Run a notebook in place; raises CellExecutionError at the first cell that fails."""
    from nbclient import NotebookClient

    monkeypatch.setenv("JUPYTER_PATH", str(jupyter))
    monkeypatch.setenv("IPYTHONDIR", str(jupyter / "ipython"))
    monkeypatch.setenv("JUPYTER_RUNTIME_DIR", str(jupyter / "runtime"))
    NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(NOTEBOOKS)}}
    ).execute()
    return notebook


def test_there_are_notebooks() -> None:
    """The parametrized tests below have something to run."""
    assert "one_call_by_hand.ipynb" in NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_runs_from_top_to_bottom(name: str, this_python: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every cell of every notebook runs, its assertions with it."""
    done = run(stored(name), this_python, monkeypatch)
    counts = [cell.execution_count for cell in done.cells if cell.cell_type == "code"]
    assert counts == list(range(1, len(counts) + 1))


def test_a_wrong_number_in_a_notebook_fails(this_python: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The assertions in the notebook bite: with one chance changed by hand, the library no longer agrees."""
    from nbclient.exceptions import CellExecutionError

    notebook = stored("one_call_by_hand.ipynb")
    for cell in notebook.cells:
        cell.source = cell.source.replace('table["link"] = [0.30, 0.90, 0.40]', 'table["link"] = [0.30, 0.80, 0.40]')
    with pytest.raises(CellExecutionError, match="AssertionError"):
        run(notebook, this_python, monkeypatch)


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_keeps_no_outputs(name: str) -> None:
    """Stored notebooks have no outputs and no execution counts, so a diff shows only what somebody wrote."""
    cells = [cell for cell in stored(name).cells if cell.cell_type == "code"]
    assert cells
    assert [cell.outputs for cell in cells] == [[]] * len(cells)
    assert [cell.execution_count for cell in cells] == [None] * len(cells)


@pytest.mark.parametrize("name", NAMES)
def test_code_cells_are_short(name: str) -> None:
    """Two- and three-line cells: up to three statements, up to five lines where one literal needs them."""
    for cell in stored(name).cells:
        if cell.cell_type == "code":
            lines = [line for line in cell.source.splitlines() if line.strip()]
            assert len(lines) <= 5, cell.source


def test_notebooks_are_what_their_text_makes() -> None:
    """`python notebooks/build.py --check` finds nothing stale; every notebook has its text."""
    done = subprocess.run(
        [sys.executable, str(NOTEBOOKS / "build.py"), "--check"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stdout) == (0, ""), done.stdout + done.stderr
    assert [path.with_suffix(".ipynb").name for path in builder().sources()] == NAMES


def test_building_is_the_same_every_time_and_notices_a_change() -> None:
    """The same text makes the same bytes; a changed text makes others."""
    build = builder()
    text = "# Title\n\n```python\nx = 1\n```\n\n```python\nx\n```\n\nThe end.\n"
    made = build.notebook(text)
    assert build.written(text) == build.written(text)
    assert build.written(text) != build.written(text.replace("x = 1", "x = 2"))
    assert [(cell.cell_type, cell.source) for cell in made.cells] == [
        ("markdown", "# Title"),
        ("code", "x = 1"),
        ("code", "x"),
        ("markdown", "The end."),
    ]
