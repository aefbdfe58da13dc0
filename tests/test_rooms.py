"""The rooms of the design: who may import whom, and what everyday imports may load."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import faultodds

MODEL = Path(faultodds.__file__).parent
EVERYDAY = [
    "faultodds.accepted",
    "faultodds.appliance",
    "faultodds.belief",
    "faultodds.errors",
    "faultodds.knowledge",
    "faultodds.names",
    "faultodds.revision",
    "faultodds.schema",
    "faultodds.suspects",
    "faultodds.tables",
]
HEAVY = {
    "matplotlib",
    "pandas",
    "pgmpy",
    "pint",
    "pyarrow",
    "pydantic",
    "rich",
    "scipy",
    "sklearn",
    "sqlalchemy",
    "torch",
    "typer",
}


def _imported(path: Path) -> set[str]:
    """Top names of every import anywhere in a file."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.partition(".")[0])
    return names


@pytest.mark.parametrize("path", sorted(MODEL.rglob("*.py")), ids=lambda p: str(p.relative_to(MODEL)))
def test_the_model_imports_neither_screen_nor_simulator(path: Path) -> None:
    """No module of the model imports the command line, the simulator, or a library that draws on a screen."""
    assert not _imported(path) & {"faultodds_cli", "faultodds_sim", "typer", "rich"}


def test_the_simulator_never_imports_the_model() -> None:
    """The simulated dryer knows nothing of the model that it tests."""
    import faultodds_sim

    paths = list(Path(faultodds_sim.__file__).parent.rglob("*.py"))
    assert paths
    for path in paths:
        assert not _imported(path) & {"faultodds", "faultodds_cli"}, path


@pytest.mark.parametrize("module", EVERYDAY)
def test_everyday_imports_load_nothing_heavy(module: str) -> None:
    """Importing a module of the everyday path loads numpy at most; the seconds-long libraries stay out."""
    code = f"import sys, {module}; print(*sorted({{m.partition('.')[0] for m in sys.modules}}))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not set(run.stdout.split()) & HEAVY


_ONE_EVALUATION = """
import sys
from faultodds.appliance import open_appliance
from faultodds.belief import Evidence, Seen, infer, outlook
a = open_appliance("gas_dryer")
s = a.suspects
name = next(iter(s.observables))
outlook(infer(s, Evidence({}, (Seen(name, {s.observables[name][1]: 1.0}),))))
print(*sorted({m.partition('.')[0] for m in sys.modules}))
"""


def test_a_whole_evaluation_from_a_warm_cache_loads_nothing_heavy() -> None:
    """With the compiled dryer in the cache, answering needs no validation library and no network library."""
    for _ in range(2):
        run = subprocess.run([sys.executable, "-c", _ONE_EVALUATION], capture_output=True, text=True, check=True)
    assert not set(run.stdout.split()) & HEAVY
