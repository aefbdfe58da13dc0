"""Make each notebook from the text file beside it, and run it: python notebooks/build.py [--check]

`NAME.md` is what people write and review: prose with fenced ```python blocks. `NAME.ipynb` is made from it, a
Markdown cell for the prose between two blocks and a code cell for each block, with ids that do not change from run
to run and with the outputs of a run, so that it can be read where it lies. A notebook that still says the same is
left as it is. `--check` writes nothing and exits with 1 when a notebook is stale.
"""

from __future__ import annotations

import argparse
import base64
import io
import os
import re
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import nbformat
from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient
from nbformat import NotebookNode
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook
from PIL import Image

FOLDER = Path(__file__).resolve().parent
_CODE = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
_WIDEST, _COLOURS = 680, 16  # of a stored figure: readable, and at most some 60 KB in the file
# The day of the run stands in a revision's name and in what was learned and audited; the synthetic logs are all older.
_DAY = re.compile(r"\b20(?:2[5-9]|[3-9]\d)-\d\d-\d\d(?: \d\d:\d\d)?")


def sources() -> list[Path]:
    """The text of every notebook, sorted by name."""
    return sorted(path for path in FOLDER.glob("*.md") if path.name != "README.md")


def notebook(text: str) -> NotebookNode:
    """The notebook that a text makes, not run yet."""
    cells = [
        (new_code_cell if is_code else new_markdown_cell)(source, id=f"cell-{number:02}")
        for number, (is_code, source) in enumerate(_pieces(text), start=1)
    ]
    return new_notebook(cells=cells, metadata=_METADATA)


def _pieces(text: str) -> Iterator[tuple[bool, str]]:
    """Prose and code in order, as (is code, source); blank prose between two blocks is no cell."""
    # With one group in the pattern, every second piece of the split is a block's code.
    for number, piece in enumerate(_CODE.split(text)):
        if piece.strip():
            yield number % 2 == 1, piece.strip()


def run(made: NotebookNode) -> NotebookNode:
    """Run a notebook in place, by this Python; raises CellExecutionError at the first cell that fails."""
    with tempfile.TemporaryDirectory() as own:
        kernel = AsyncKernelManager(
            kernel_name="python3",
            # Without folders to look in, "python3" is this interpreter's own kernel and nobody's installed one.
            kernel_spec_manager=KernelSpecManager(kernel_dirs=[]),
            connection_file=str(Path(own) / "connection.json"),
        )
        where = {"metadata": {"path": str(FOLDER)}}
        client = NotebookClient(made, km=kernel, timeout=300, record_timing=False, resources=where)
        client.execute(env={**os.environ, "IPYTHONDIR": own})
    made.metadata = nbformat.from_dict(_METADATA)
    for data in _data(made):
        if "image/png" in data:
            data["image/png"] = _small(data["image/png"])
    return made


def _small(png: str) -> str:
    """A figure in base64, made narrow enough to be kept, in few colours."""
    figure = Image.open(io.BytesIO(base64.b64decode(png))).convert("RGB")
    figure.thumbnail((_WIDEST, figure.height))
    kept = io.BytesIO()
    figure.quantize(_COLOURS).save(kept, "png", optimize=True)
    return base64.b64encode(kept.getvalue()).decode("ascii")


def said(made: NotebookNode) -> list[tuple[str, list[str]]]:
    """What a notebook says, to hold two runs against each other: source and outputs of every cell.

    Text is taken as it is, but for the day of the run. Of a figure only the size counts, since its bytes change
    with the libraries that draw it; and pandas' markup of a table says nothing that its text does not.
    """
    return [(cell.source, [_told(output) for output in cell.get("outputs", [])]) for cell in made.cells]


def _told(output: NotebookNode) -> str:
    data = output.get("data", {})
    if "image/png" in data:
        width, height = Image.open(io.BytesIO(base64.b64decode(data["image/png"]))).size
        return f"figure, {width} by {height}"
    text = output.get("text") or data.get("text/plain") or f"{output.output_type} without text"
    return _DAY.sub("<day>", text)


def _data(made: NotebookNode) -> Iterator[NotebookNode]:
    """The data of every output that has any, such as a table or a figure."""
    for cell in made.cells:
        yield from (output.data for output in cell.get("outputs", []) if "data" in output)


def main(arguments: Sequence[str] | None = None) -> int:
    """Write, or check, every notebook; returns the exit code."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--check", action="store_true", help="Write nothing; exit with 1 when one is stale.")
    check = options.parse_args(arguments).check
    stale = []
    for source in sources():
        path, made = source.with_suffix(".ipynb"), run(notebook(source.read_text(encoding="utf-8")))
        if path.exists() and said(nbformat.read(path, as_version=4)) == said(made):
            continue
        stale.append(path.name)
        if not check:
            path.write_text(nbformat.writes(made, version=4) + "\n", encoding="utf-8")
    sys.stdout.writelines(f"{'stale' if check else 'wrote'}: {name}\n" for name in stale)
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
