"""What may be told to be open: nothing on a machine that is neither unplugged nor shut off, whichever way it is told."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from calls import bench, command, looked_at

LIVE = "'front_open' cannot be open without 'unplugged'"
GAS_ON = "'front_open' cannot be open without 'gas_shut'"


def _next(data: Path, *items: str) -> str:
    return command("next", *(word for i in items for word in ("--open", i))).err


def _next_json(data: Path, *items: str) -> str:
    return command("next", "--json", *(word for i in items for word in ("--open", i))).err


def _job(data: Path, *items: str) -> str:
    command("job", "new", "--data", str(data))
    return command("job", "state", "1", *(w for i in items for w in ("--open", i)), "--data", str(data)).err


def _job_json(data: Path, *items: str) -> str:
    command("job", "new", "--data", str(data))
    opened = [word for i in items for word in ("--open", i)]
    return command("job", "state", "1", *opened, "--json", "--data", str(data)).err


def _bench(data: Path, *items: str) -> str:
    command("job", "new", "--data", str(data))
    return bench(
        data, "no", "no", "no", "no", "done", "done", *(f"open {i}" for i in items), "leave", options=["1"]
    ).out


@pytest.mark.parametrize("tell", [_next, _next_json, _job, _job_json, _bench])
def test_no_path_takes_a_panel_off_a_live_machine(tmp_path: Path, tell: Callable[..., str]) -> None:
    """With the plug in, and with the gas on, every path refuses the panel in one sentence, the missing step in it."""
    said = " ".join(tell(tmp_path, "front_open").split())
    assert LIVE in said and "pull the plug" in said
    assert GAS_ON in " ".join(tell(tmp_path / "gas", "unplugged", "front_open").split())


def test_the_shut_off_cannot_be_taken_back_behind_an_open_panel(tmp_path: Path) -> None:
    """Plugging in is refused while the panel is off, and nothing is saved; the items may be given in any order at once."""
    shut_off = ["--open", "front_open", "--open", "gas_shut", "--open", "unplugged"]
    command("job", "new", "--data", str(tmp_path))
    assert command("job", "state", "1", *shut_off, "--data", str(tmp_path)).code == 0
    ended = command("job", "state", "1", "--shut", "unplugged", "--data", str(tmp_path))
    assert ended.code == 2 and LIVE in " ".join(ended.err.split())
    with looked_at(tmp_path) as visit:
        assert visit.state == {"front_open", "gas_shut", "unplugged"}
    both = ["--shut", "unplugged", "--shut", "front_open"]
    assert command("job", "state", "1", *both, "--data", str(tmp_path)).code == 0
