"""Make each notebook from the text file beside it: python notebooks/build.py [--check]

`NAME.md` is what people write and review: prose with fenced ```python blocks. `NAME.ipynb` is made from it, a
Markdown cell for the prose between two blocks and a code cell for each block, with no outputs and with ids
that do not change from run to run. `--check` writes nothing and exits with 1 when a notebook is stale.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import nbformat
from nbformat import NotebookNode
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

FOLDER = Path(__file__).resolve().parent
_CODE = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}


def sources() -> list[Path]:
    """The text of every notebook, sorted by name."""
    return sorted(FOLDER.glob("*.md"))


def notebook(text: str) -> NotebookNode:
    """The notebook that a text makes."""
    cells = [
        (new_code_cell if is_code else new_markdown_cell)(source, id=f"cell-{number:02}")
        for number, (is_code, source) in enumerate(_pieces(text), start=1)
    ]
    return new_notebook(cells=cells, metadata=_METADATA)


def written(text: str) -> str:
    """The notebook file that a text makes."""
    return nbformat.writes(notebook(text), version=4) + "\n"


def _pieces(text: str) -> Iterator[tuple[bool, str]]:
    """Prose and code in order, as (is code, source); blank prose between two blocks is no cell."""
    # With one group in the pattern, every second piece of the split is a block's code.
    for number, piece in enumerate(_CODE.split(text)):
        if piece.strip():
            yield number % 2 == 1, piece.strip()


def main(arguments: Sequence[str] | None = None) -> int:
    """Write, or check, every notebook; returns the exit code."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--check", action="store_true", help="Write nothing; exit with 1 when one is stale.")
    check = options.parse_args(arguments).check
    stale = []
    for source in sources():
        path, wanted = source.with_suffix(".ipynb"), written(source.read_text(encoding="utf-8"))
        if path.exists() and path.read_text(encoding="utf-8") == wanted:
            continue
        stale.append(path.name)
        if not check:
            path.write_text(wanted, encoding="utf-8")
    sys.stdout.writelines(f"{'stale' if check else 'wrote'}: {name}\n" for name in stale)
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())
