"""Notebooks run from top to bottom and still say what is committed, so that they can be read where they lie."""

from __future__ import annotations

import base64
import importlib.util
import io
import tempfile
from pathlib import Path
from types import ModuleType
from typing import Any

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook, new_output
from PIL import Image

NOTEBOOKS = Path(__file__).resolve().parents[1] / "notebooks"
NAMES = sorted(path.name for path in NOTEBOOKS.glob("*.ipynb"))
MOST_BYTES = 70_000  # of a figure, as it stands in the file


def builder() -> ModuleType:
    """`notebooks/build.py`, which is in no package."""
    spec = importlib.util.spec_from_file_location("build_notebooks", NOTEBOOKS / "build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


BUILD = builder()


def stored(name: str) -> Any:
    """A notebook as it is in the repository."""
    return nbformat.read(NOTEBOOKS / name, as_version=4)


def code(name: str) -> list[Any]:
    """The code cells of a stored notebook."""
    return [cell for cell in stored(name).cells if cell.cell_type == "code"]


def test_every_text_has_its_notebook() -> None:
    """Each text but the README has one notebook beside it, and no notebook is without."""
    assert "one_call_by_hand.ipynb" in NAMES
    assert [path.with_suffix(".ipynb").name for path in BUILD.sources()] == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_runs_and_says_what_is_committed(name: str) -> None:
    """What the text makes runs to the end, its assertions with it, and prints what stands in the repository."""
    text = (NOTEBOOKS / name).with_suffix(".md").read_text(encoding="utf-8")
    kept, fresh = BUILD.said(stored(name)), BUILD.said(BUILD.run(BUILD.notebook(text)))
    assert kept == fresh, "stale: python notebooks/build.py"


def test_a_wrong_number_in_a_notebook_fails() -> None:
    """The assertions in the notebook bite: with one chance changed by hand, the library no longer agrees."""
    known: dict[str, Any] = {}
    right, wrong = 'table["link"] = [0.30, 0.90, 0.40]', 'table["link"] = [0.30, 0.80, 0.40]'
    sources = [cell.source.replace(right, wrong) for cell in code("one_call_by_hand.ipynb")]
    at = next(number for number, source in enumerate(sources) if "assert" in source)
    for source in sources[:at]:
        exec(source, known)
    with pytest.raises(AssertionError):
        exec(sources[at], known)


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_carries_its_outputs(name: str) -> None:
    """Stored cells are numbered as they ran, none shows a place on somebody's machine, and no figure is heavy."""
    cells = code(name)
    assert [cell.execution_count for cell in cells] == list(range(1, len(cells) + 1))
    outputs = [output for cell in cells for output in cell.outputs]
    assert len(outputs) > 5
    places = [tempfile.gettempdir(), str(Path.home()), str(NOTEBOOKS.parent)]
    assert not [place for place in places if place in str(outputs)]
    figures = [output.data["image/png"] for output in outputs if "image/png" in output.get("data", {})]
    assert all(len(figure) <= MOST_BYTES for figure in figures)


@pytest.mark.parametrize("name", NAMES)
def test_code_cells_are_short(name: str) -> None:
    """Two- and three-line cells: up to three statements, up to five lines where one literal needs them."""
    for cell in code(name):
        lines = [line for line in cell.source.splitlines() if line.strip()]
        assert len(lines) <= 5, cell.source


def test_a_text_becomes_cells_in_order() -> None:
    """Prose and code alternate as written, and blank prose between two blocks is no cell."""
    made = BUILD.notebook("# Title\n\n```python\nx = 1\n```\n\n```python\nx\n```\n\nThe end.\n")
    assert [(cell.cell_type, cell.source) for cell in made.cells] == [
        ("markdown", "# Title"),
        ("code", "x = 1"),
        ("code", "x"),
        ("markdown", "The end."),
    ]


def test_the_script_says_whether_a_notebook_is_stale(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`--check` exits with 1 and writes nothing when stale; without it the notebook is made; the README makes none."""
    monkeypatch.setattr(BUILD, "FOLDER", tmp_path)
    monkeypatch.setattr(BUILD, "run", lambda made: made)
    (tmp_path / "README.md").write_text("About the notebooks.", encoding="utf-8")
    (tmp_path / "one.md").write_text("# One", encoding="utf-8")
    assert BUILD.main(["--check"]) == 1
    assert not list(tmp_path.glob("*.ipynb"))
    assert [BUILD.main([]), BUILD.main(["--check"])] == [0, 0]
    (tmp_path / "one.md").write_text("# Another", encoding="utf-8")
    assert BUILD.main(["--check"]) == 1
    assert capsys.readouterr().out.splitlines() == ["stale: one.ipynb", "wrote: one.ipynb", "stale: one.ipynb"]


def printing(*outputs: Any) -> Any:
    """What a notebook of one cell with these outputs says."""
    return BUILD.said(new_notebook(cells=[new_code_cell("x", outputs=list(outputs))]))


def stream(text: str) -> Any:
    """What `print` leaves in a notebook."""
    return new_output("stream", name="stdout", text=text)


def figure(width: int, shade: int) -> Any:
    """A plain figure of some size in one shade."""
    png = io.BytesIO()
    Image.new("L", (width, 40), shade).save(png, "png")
    return new_output("display_data", data={"image/png": base64.b64encode(png.getvalue()).decode("ascii")})


def test_two_runs_differ_by_any_word_but_not_by_the_day_of_a_revision() -> None:
    """Another number, another cell or another date is a difference; the day and minute of learning are none."""
    assert printing(stream("34 %")) != printing(stream("35 %"))
    assert printing(stream("34 %")) != printing()
    assert printing(stream("2022-10-24")) != printing(stream("2022-10-25"))
    learned = "REVISION {0}-a, learned {0} 12:0{1} from 593 jobs"
    assert printing(stream(learned.format("2026-01-31", 1))) == printing(stream(learned.format("2026-02-01", 2)))


def test_figures_are_held_against_each_other_by_size() -> None:
    """A figure drawn a little otherwise is the same figure; one of another size, or none, is not."""
    assert printing(figure(60, 10)) == printing(figure(60, 200))
    assert printing(figure(60, 10)) != printing(figure(61, 10))
    assert printing(figure(60, 10)) != printing(stream("no figure"))
