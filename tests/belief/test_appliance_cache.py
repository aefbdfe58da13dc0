"""The cache of compiled appliances: never stale, never half-read, never in the way, never a pickle."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from faultodds.belief import appliance as module, array_file as arrays_on_disk
from faultodds.belief.appliance import Appliance, open_appliance
from faultodds.files.folders import cache_folder
from faultodds.files.knowledge_files import find

SMALL = """
[appliance]
id = "toy"
title = "Toy"
format = 1
calls = "toy calls"
[costs]
labour_rate = 60
callback = 100
refer = 200
verify = "run"
[other_causes]
nothing_wrong = 40
unlisted = 10
[component.pump]
title = "pump"
[component.pump.modes.dead]
title = "dead"
share = 50
[access]
[mechanism]
[symptom]
[check.run]
title = "run"
minutes = 5
outcomes = { good = "good", bad = "bad" }
leak = 0.05
links = { "pump.dead" = 0.9 }
[repair.new_pump]
title = "new pump"
minutes = 5
fixes = ["pump"]
[caution]
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A small knowledge file."""
    path = tmp_path / "toy.toml"
    path.write_text(SMALL)
    return path


@pytest.fixture
def compiles(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Grows by one whenever something is compiled."""
    calls: list[int] = []
    real = module.compile_suspects

    def counted(*args: Any) -> Any:
        calls.append(1)
        return real(*args)

    monkeypatch.setattr(module, "compile_suspects", counted)
    return calls


def _open(file: Path, cache: Path, target: float = 1e-3) -> Appliance:
    return open_appliance(str(file), target, cache)


def _assert_same(one: Appliance, other: Appliance) -> None:
    assert one.knowledge == other.knowledge
    assert one.fingerprint == other.fingerprint
    for name in type(one.suspects).__struct_fields__:
        a, b = getattr(one.suspects, name), getattr(other.suspects, name)
        if isinstance(a, np.ndarray):
            assert a.dtype == b.dtype
            assert a.shape == b.shape
            assert a.tobytes() == b.tobytes()
        elif name == "facts":
            assert {k: v.tolist() for k, v in a.items()} == {k: v.tolist() for k, v in b.items()}
        else:
            assert a == b
            assert type(a) is type(b)


def test_the_second_opening_reads_the_cache_and_is_the_same(file: Path, cache: Path, compiles: list[int]) -> None:
    """What comes out of the cache is what was compiled, to the bit, and nothing is compiled again."""
    first = _open(file, cache)
    second = _open(file, cache)
    assert len(compiles) == 1
    _assert_same(first, second)


def test_the_shipped_dryer_survives_the_cache(cache: Path) -> None:
    """The whole shipped appliance, facts, readings and all, comes back as it went in."""
    _assert_same(open_appliance("gas_dryer", cache=cache), open_appliance("gas_dryer", cache=cache))


def test_arrays_from_the_cache_cannot_be_changed(file: Path, cache: Path) -> None:
    """Cached arrays are read-only like compiled ones."""
    _open(file, cache)
    with pytest.raises(ValueError, match="read-only"):
        _open(file, cache).suspects.likelihood[0, 0] = 0.5


def test_an_edited_file_is_compiled_again(file: Path, cache: Path, compiles: list[int]) -> None:
    """One changed number gives a new entry at once, and undoing the edit finds the old one."""
    before = _open(file, cache)
    file.write_text(SMALL.replace("0.9", "0.8"))
    after = _open(file, cache)
    assert len(compiles) == 2
    assert before.fingerprint != after.fingerprint
    assert before.suspects.likelihood.tolist() != after.suspects.likelihood.tolist()
    file.write_text(SMALL)
    _assert_same(before, _open(file, cache))
    assert len(compiles) == 2


def test_another_target_is_another_entry(file: Path, cache: Path, compiles: list[int]) -> None:
    """The omitted-mass target is part of the entry's name."""
    assert _open(file, cache, 0.0).suspects.omitted_target == 0.0
    assert _open(file, cache, 0.1).suspects.omitted_target == 0.1
    assert len(compiles) == 2


def test_changed_compiling_code_is_another_entry(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The code that compiles is part of the name, so that an update never meets old arrays."""
    before = module._key(b"x", 1e-3)
    package = tmp_path / "package"
    for source in module._COMPILING_CODE:
        (package / source).parent.mkdir(parents=True, exist_ok=True)
        (package / source).write_bytes((Path(module.__file__).parent.parent / source).read_bytes())
    monkeypatch.setattr(module, "__file__", str(package / "belief" / "appliance.py"))
    assert module._key(b"x", 1e-3) == before
    (package / "knowledge/tables.py").write_text("# another version")
    assert module._key(b"x", 1e-3) != before


def _entry(cache: Path) -> Path:
    (entry,) = cache.iterdir()
    return entry


def test_a_half_written_entry_is_noticed_at_every_length(file: Path, cache: Path) -> None:
    """Cut off anywhere, the entry is not used."""
    _open(file, cache)
    entry = _entry(cache)
    data = entry.read_bytes()
    for length in sorted({0, 1, 2, 3, 4, len(data) - 1, len(data) - 2, *range(5, len(data), len(data) // 200)}):
        entry.write_bytes(data[:length])
        assert module._load(entry) is None, f"cut at {length}"


def test_a_half_written_entry_is_compiled_again_and_replaced(file: Path, cache: Path, compiles: list[int]) -> None:
    """Opening over a cut-off entry gives the same answer and leaves a whole entry."""
    whole = _open(file, cache)
    entry = _entry(cache)
    size = entry.stat().st_size
    entry.write_bytes(entry.read_bytes()[: size // 2])
    _assert_same(whole, _open(file, cache))
    _assert_same(whole, _open(file, cache))
    assert len(compiles) == 2
    assert entry.stat().st_size == size


def test_a_damaged_entry_never_changes_the_answer(file: Path, cache: Path) -> None:
    """A byte turned over anywhere is either noticed or harmless: nothing else is read and nothing is raised."""
    whole = _open(file, cache)
    entry = _entry(cache)
    data = entry.read_bytes()
    noticed = 0
    for at in range(0, len(data), 7):
        entry.write_bytes(data[:at] + bytes([data[at] ^ 0x5A]) + data[at + 1 :])
        read = module._load(entry)
        noticed += read is None
        if read is not None:
            _assert_same(whole, read)
    assert noticed > 0


@given(st.data())
def test_whatever_changes_value_or_place_in_an_entry_is_noticed(pick: st.DataObject) -> None:
    """Bits turned over, stretches copied, swapped or blotted out anywhere in the arrays: never read. Rows of the digest and what is
    left behind the last of them are both hit."""
    size = arrays_on_disk.ROW * 8 * 3 + 640
    body = np.random.default_rng(1).bytes(size)
    right = arrays_on_disk._digest(bytearray(body))
    one, two = (pick.draw(st.integers(0, size - 1)) for _ in range(2))
    length = pick.draw(st.integers(1, 70_000))
    bit = bytes([body[one] ^ (1 << pick.draw(st.integers(0, 7)))])
    low, high = sorted((one, two))
    length = min(length, high - low, size - high) or 1
    a, b = body[low : low + length], body[high : high + length]
    for spoilt in (
        body[:one] + bit + body[one + 1 :],
        body[:low] + b + body[low + length :],
        body[:low] + b + body[low + length : high] + a + body[high + length :] if high >= low + length else body[::-1],
        body[:low] + bytes(length) + body[low + length :],
        body[low:] + body[:low],
    ):
        assert len(spoilt) == size
        assert spoilt == body or arrays_on_disk._digest(bytearray(spoilt)) != right


@pytest.mark.parametrize("content", [b"", b"not an archive", b"PK\x03\x04" + bytes(100), bytes(5000)])
def test_rubbish_in_an_entrys_place_is_replaced(file: Path, cache: Path, content: bytes) -> None:
    """Anything that is no archive is compiled over."""
    whole = _open(file, cache)
    _entry(cache).write_bytes(content)
    _assert_same(whole, _open(file, cache))
    assert _entry(cache).read_bytes() != content


def test_an_archive_that_lacks_a_part_is_replaced(file: Path, cache: Path, compiles: list[int]) -> None:
    """A sound archive with an array missing, or one too many, is not used."""
    whole = _open(file, cache)
    entry = _entry(cache)
    text, arrays = arrays_on_disk.read(entry) or pytest.fail("a fresh entry must be readable")
    arrays_on_disk.write(entry, text, {n: a for n, a in arrays.items() if n != "member"})
    _assert_same(whole, _open(file, cache))
    arrays_on_disk.write(entry, b"", arrays)
    _assert_same(whole, _open(file, cache))
    arrays_on_disk.write(entry, text, {**arrays, "stray": np.zeros(2)})
    _assert_same(whole, _open(file, cache))
    assert len(compiles) == 4


def test_a_pickle_in_an_entry_is_never_loaded(file: Path, cache: Path, tmp_path: Path) -> None:
    """An entry that holds an object array runs no code: it is refused and replaced."""
    whole = _open(file, cache)
    mark = tmp_path / "ran"

    class Trap:
        def __reduce__(self) -> Any:
            return (Path.touch, (mark,))

    with _entry(cache).open("wb") as handle:
        np.savez(handle, text=np.array([Trap()], dtype=object), allow_pickle=True)
    mark.unlink(missing_ok=True)
    _assert_same(whole, _open(file, cache))
    assert not mark.exists()
    assert _entry(cache).read_bytes().startswith(arrays_on_disk.MAGIC)


def test_a_cache_that_cannot_be_written_is_done_without(file: Path, tmp_path: Path, compiles: list[int]) -> None:
    """A file in the folder's place stops nobody: it is compiled each time."""
    blocked = tmp_path / "blocked"
    blocked.write_text("in the way")
    _assert_same(_open(file, blocked), _open(file, blocked))
    _open(file, blocked / "below")
    assert len(compiles) == 3
    assert blocked.read_text() == "in the way"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_done_without(file: Path, cache: Path) -> None:
    """A folder without write permission gives the answer all the same."""
    cache.mkdir()
    cache.chmod(0o500)
    _open(file, cache)
    assert list(cache.iterdir()) == []
    cache.chmod(0o700)


def test_a_disk_that_is_full_leaves_nothing_behind(file: Path, cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When writing fails half-way, there is an answer, no entry and no part of one."""

    def full(*args: Any, **kwargs: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    _open(file, cache)
    assert list(cache.iterdir()) == []


_WORKER = """
import sys
from pathlib import Path
from faultodds.belief import open_appliance
a = open_appliance(sys.argv[1], cache=Path(sys.argv[2]))
print(a.suspects.likelihood.sum())
"""


def test_two_processes_at_once(file: Path, cache: Path) -> None:
    """Processes that start together with an empty cache all answer the same and leave one whole entry."""
    command = [sys.executable, "-c", _WORKER, str(file), str(cache)]
    running = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(3)]
    answers = {process.communicate(timeout=120)[0] for process in running}
    assert all(process.returncode == 0 for process in running)
    assert len(answers) == 1
    assert _entry(cache).suffix == ".arrays"
    assert answers.pop().strip() == str(_open(file, cache).suspects.likelihood.sum())


def test_the_cache_folder_is_the_users_or_the_variables(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """FAULTODDS_CACHE names the folder; without it, it is the user's cache folder."""
    monkeypatch.setenv("FAULTODDS_CACHE", str(tmp_path))
    assert cache_folder() == tmp_path
    monkeypatch.setenv("FAULTODDS_CACHE", "~/somewhere")
    assert cache_folder() == Path.home() / "somewhere"
    monkeypatch.delenv("FAULTODDS_CACHE")
    assert cache_folder().name == "faultodds"


def test_a_shipped_name_wins_over_nothing_and_paths_work(file: Path) -> None:
    """A shipped appliance is found by name, a file by its path."""
    assert find("gas_dryer").name == "gas_dryer.toml"
    assert find(str(file)) == file


_LOADED = """
import sys
from faultodds.belief.appliance import compile_suspects, find, read_bytes, refuse_unsafe_file
from faultodds.knowledge import parse
knowledge = parse(read_bytes(find("gas_dryer")))
refuse_unsafe_file(knowledge, "it")
compile_suspects(knowledge)
print(*(module.__file__ for name, module in sys.modules.items() if name.startswith("faultodds.")), sep="\\n")
"""


def test_all_code_that_checks_or_compiles_a_file_is_in_the_name_of_its_entry() -> None:
    """A rule that is changed holds for files that are in the cache already."""
    done = subprocess.run([sys.executable, "-c", _LOADED], capture_output=True, text=True, check=True)
    room = Path(module.__file__).parents[1]
    loaded = {Path(each).relative_to(room).as_posix() for each in done.stdout.splitlines()}
    outside = {"errors.py", "belief/appliance.py", "revisions/decisions.py"}
    judging = {each for each in loaded if not each.endswith("__init__.py") and not each.startswith("files/")} - outside
    assert judging <= set(module._COMPILING_CODE), sorted(judging - set(module._COMPILING_CODE))
