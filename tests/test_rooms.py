"""The rooms of the design: who may import whom, and what everyday imports may load."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import faultodds
import faultodds_cli
import faultodds_sim

MODEL = Path(faultodds.__file__).parent

# From the ground up: a room may import the fronts of the rooms before it in this list, and of no other.
ORDER = [
    "errors",
    "names",
    "files",
    "readings",
    "knowledge",
    "safety",
    "revisions",
    "belief",
    "shop",
    "advice",
    "advice.sensitivity",
    "advice.plan",
    "textbook",
    "job",
    "cards",
    "stock",
    "joblog",
    "tuning",
    "audit",
    "calibration",
    "charts",
    "reports",
]
EVERYDAY = ["belief", "errors", "knowledge", "names", "revisions"]
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


def room_of(module: str) -> str:
    """`faultodds.advice.plan.tree` -> "advice.plan"; the empty string for the package itself."""
    parts = module.split(".")[1:]
    return ".".join(parts[:2]) if ".".join(parts[:2]) in ORDER else ".".join(parts[:1])


def modules_in(package: Path, name: str) -> dict[str, Path]:
    """Module name -> file, for every module of a package."""
    found = {}
    for path in sorted(package.rglob("*.py")):
        parts = [name, *path.relative_to(package).with_suffix("").parts]
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def imported(path: Path) -> tuple[tuple[str, str], ...]:
    """(module imported from, name or "" for the whole module), wherever in the file the import stands."""
    return tuple(_imports(path))


def _imports(path: Path) -> Iterator[tuple[str, str]]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            # The simulator, one flat package, imports from itself by ".name".
            source = ".".join(filter(None, [path.parent.name if node.level else "", node.module]))
            yield from ((source, alias.name) for alias in node.names)


LIBRARY = modules_in(MODEL, "faultodds")
SIMULATOR = modules_in(Path(faultodds_sim.__file__).parent, "faultodds_sim")
COMMANDS = modules_in(Path(faultodds_cli.__file__).parent, "faultodds_cli")


def edges(modules: dict[str, Path]) -> dict[str, set[str]]:
    """Module -> modules it imports; a name that is a module counts as that module."""
    package = next(iter(modules)).partition(".")[0]
    found: dict[str, set[str]] = {}
    for module, path in modules.items():
        targets = {f"{source}.{name}" if f"{source}.{name}" in modules else source for source, name in imported(path)}
        found[module] = {t for t in targets if t.partition(".")[0] == package and t in modules and t != module}
    return found


def circle(graph: dict[str, set[str]]) -> list[str]:
    """One circle of a graph as the nodes along it, or nothing."""
    done: set[str] = set()

    def walk(node: str, path: list[str]) -> list[str]:
        if node in path:
            return path[path.index(node) :]
        if node in done:
            return []
        for other in sorted(graph.get(node, ())):
            found = walk(other, [*path, node])
            if found:
                return found
        done.add(node)
        return []

    return next((found for found in (walk(node, []) for node in sorted(graph)) if found), [])


def past_the_front(modules: dict[str, Path]) -> list[str]:
    """Imports from inside another room, and names that a front does not hand on."""
    wrong = []
    for module, path in modules.items():
        here = room_of(module) if module.startswith("faultodds.") else ""
        for source, name in imported(path):
            if source == "faultodds":
                source, name = f"faultodds.{name}", ""
            if source.partition(".")[0] != "faultodds":
                continue
            there = room_of(source)
            if here == there or here.startswith(f"{there}."):
                if source == f"faultodds.{there}" and f"{source}.{name}" not in modules:
                    wrong.append(f"{module} imports '{name}' by way of its own front")
                continue
            if source != f"faultodds.{there}":
                wrong.append(f"{module} imports {source}, past the front of '{there}'")
            elif name and name not in handed_on(there):
                wrong.append(f"{module} imports '{name}', which the front of '{there}' does not hand on")
    return wrong


def handed_on(room: str) -> set[str]:
    """What a room's front (`__init__.pyi`) names; for a room of one module, what that module defines."""
    path = LIBRARY[f"faultodds.{room}"]
    if path.name == "__init__.py":
        tree = ast.parse(path.with_suffix(".pyi").read_text(encoding="utf-8"))
        return {alias.name for node in tree.body if isinstance(node, ast.ImportFrom) for alias in node.names}
    tree = ast.parse(path.read_text(encoding="utf-8"))
    said = {n.target.id for n in tree.body if isinstance(n, ast.AnnAssign) and isinstance(n.target, ast.Name)}
    return said | {node.name for node in tree.body if isinstance(node, ast.FunctionDef | ast.ClassDef)}


def test_every_room_is_in_the_order() -> None:
    """A new room needs its place in the list, and the list names no room that is not there."""
    assert {room_of(module) for module in LIBRARY} - {""} == set(ORDER)


@pytest.mark.parametrize("module", [m for m in LIBRARY if room_of(m)])
def test_arrows_between_rooms_point_down(module: str) -> None:
    """A module imports only from its own room and from rooms that stand before it in the order."""
    here = ORDER.index(room_of(module))
    for other in edges(LIBRARY)[module]:
        assert ORDER.index(room_of(other)) <= here, f"{module} imports {other}, which comes later in the order"


def test_other_rooms_are_entered_by_the_front() -> None:
    """Across rooms, and from the command line, a name comes from the front that hands it on."""
    assert past_the_front(LIBRARY) == []
    assert past_the_front(COMMANDS) == []


@pytest.mark.parametrize("modules", [LIBRARY, COMMANDS, SIMULATOR], ids=["library", "command line", "simulator"])
def test_no_circle_of_modules(modules: dict[str, Path]) -> None:
    """No module imports itself by way of others, inside a room or across rooms; late imports count as well."""
    assert circle(edges(modules)) == []


def test_a_circle_and_a_way_past_a_front_are_found(tmp_path: Path) -> None:
    """The tests above can fail: a planted circle and a planted import past a front are seen."""
    assert circle({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == ["a", "b", "c"]
    planted = tmp_path / "planted.py"
    planted.write_text(
        "from faultodds.belief.posterior import infer\nfrom faultodds.belief import nothing\n", encoding="utf-8"
    )
    assert len(past_the_front({"faultodds.advice.planted": planted})) == 2


def past_the_folder(modules: dict[str, Path]) -> list[str]:
    """Imports from one command into another or into `shared`, and from the simulator into anything but `trial`. A drill is played
    by the books of `trial`."""
    wrong = []
    for module, path in modules.items():
        here = module.split(".")[1] if "." in module else ""
        for source, name in imported(path):
            package, there = (*f"{source}.{name}".split("."), "")[:2]
            another = package == "faultodds_cli" and here != "main" and there not in (here, "shared")
            another = another and (here, there) != ("drill", "trial")
            if another or (package == "faultodds_sim" and here != "trial"):
                wrong.append(f"{module} imports {source}.{name}")
    return wrong


def test_a_command_imports_only_itself_and_what_is_shared() -> None:
    """Commands know `shared` and the library, not one another; `main` knows them all, `trial` alone the simulator."""
    assert past_the_folder(COMMANDS) == []


def test_a_command_that_imports_another_is_found(tmp_path: Path) -> None:
    """The test above can fail: planted imports of a neighbour and of the simulator are seen, its own and shared ones are not."""
    planted = tmp_path / "planted.py"
    planted.write_text(
        "from faultodds_cli import chart\nfrom faultodds_cli.bench.call import Call\nimport faultodds_sim.call\n"
        "from faultodds_cli.shared import text\nimport faultodds_cli.stock.show\n",
        encoding="utf-8",
    )
    assert len(past_the_folder({"faultodds_cli.stock.planted": planted})) == 3
    assert len(past_the_folder({"faultodds_cli.shared.planted": planted})) == 4
    assert len(past_the_folder({"faultodds_cli.main": planted})) == 1


@pytest.mark.parametrize("room", [room for room in ORDER if (MODEL / room / "README.md").is_file()])
def test_a_rooms_page_says_what_it_imports(room: str) -> None:
    """The line "May import:" of a room's README names the rooms that its modules import, and no other."""
    said = (MODEL / room / "README.md").read_text(encoding="utf-8").partition("May import:")[2].partition(".")[0]
    there = {m: o for m, o in edges(LIBRARY).items() if room_of(m).partition(".")[0] == room}
    used = {room_of(other).partition(".")[0] for others in there.values() for other in others}
    assert set(re.findall(r"`(\w+)`", said)) == used - {room}


def _top_names(path: Path) -> set[str]:
    return {source.partition(".")[0] for source, _ in imported(path)}


@pytest.mark.parametrize("path", sorted(MODEL.rglob("*.py")), ids=lambda p: str(p.relative_to(MODEL)))
def test_the_model_imports_neither_screen_nor_simulator(path: Path) -> None:
    """No module of the model imports the command line, the simulator, or a library that draws on a screen."""
    assert not _top_names(path) & {"faultodds_cli", "faultodds_sim", "typer", "rich"}


def test_the_simulator_never_imports_the_model() -> None:
    """The simulated dryer knows nothing of the model that it tests."""
    assert SIMULATOR
    for path in SIMULATOR.values():
        assert not _top_names(path) & {"faultodds", "faultodds_cli"}, path


@pytest.mark.parametrize("room", EVERYDAY)
def test_everyday_imports_load_nothing_heavy(room: str) -> None:
    """Importing a room of the everyday path loads numpy at most; the seconds-long libraries stay out."""
    code = f"import sys, faultodds.{room}; print(*sorted({{m.partition('.')[0] for m in sys.modules}}))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not set(run.stdout.split()) & HEAVY


_ONE_EVALUATION = """
import sys
from faultodds.belief import Evidence, WeighedFinding, infer, open_appliance
from faultodds.belief.posterior import outlook
a = open_appliance("gas_dryer")
s = a.suspects
name = next(iter(s.observables))
outlook(infer(s, Evidence({}, (WeighedFinding(name, {s.observables[name][1]: 1.0}),))))
print(*sorted({m.partition('.')[0] for m in sys.modules}))
"""


def test_a_whole_evaluation_from_a_warm_cache_loads_nothing_heavy() -> None:
    """With the compiled dryer in the cache, answering needs no validation library and no network library."""
    for _ in range(2):
        run = subprocess.run([sys.executable, "-c", _ONE_EVALUATION], capture_output=True, text=True, check=True)
    assert not set(run.stdout.split()) & HEAVY
