"""Numbers that cannot be are ordinary bad input, in every option that takes one."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
import typer

from every_command import LOOK
from faultodds_cli.main import COMMANDS
from run_cli import faultodds

ODD = [
    "1e-320",
    "inf",
    "-inf",
    "nan",
    "1e308",
    "1" + "0" * 30,
    "9" * 5000,
    "²",
    "①",
    "",
    "0x10",
    "1_000_000_000_000_000_000_000",
]


def number_options() -> Iterator[tuple[str, Any, Any]]:
    """Command, itself, option: every option that takes a number."""
    for name, (module, app, _) in COMMANDS.items():
        found = typer.main.get_command(getattr(import_module(f"faultodds_cli.{module}"), app))
        below = getattr(found, "commands", None) or {"": found}
        for sub, command in below.items():
            for param in command.params:
                if param.opts[0].startswith("--") and param.type_descriptor.annotation in (int, float):
                    yield f"{name} {sub}".strip(), command, param


OPTIONS = [pytest.param(*each, id=f"{each[0]} {each[2].opts[0]}") for each in number_options()]


def test_the_options_are_found() -> None:
    """A test that found none would prove nothing."""
    found = {(name, param.opts[0]) for name, _, param in number_options()}
    assert {("next", "--labour-rate"), ("job find", "--minutes"), ("tune", "--seed"), ("trial", "--jobs")} <= found


@pytest.mark.parametrize(("name", "command", "param"), OPTIONS)
def test_a_number_that_cannot_be_is_refused_by_the_option(name: str, command: Any, param: Any) -> None:
    """Every one has a most; what is past it or no number is told with the option's name, briefly, before any work."""
    assert param.max is not None
    needed = ["x" for p in command.params if not p.opts[0].startswith("-") and p.required]
    for odd in ODD[1:]:  # next to nothing is a number
        ran = faultodds(*name.split(), *needed, param.opts[0], odd)
        assert (ran.code, param.opts[0] in ran.said, len(ran.err) < 1500) == (2, True, True), (odd, ran.err[:300])


@pytest.mark.parametrize("odd", ODD[3:])  # a meter that shows no limit reads as open
def test_numbers_in_places_of_text_are_bad_input_too(odd: str, tmp_path: Path) -> None:
    """Job numbers, readings, days: refused in words."""
    for line in (
        ["job", "show", odd, "--data", str(tmp_path)],
        ["read", "coil_ohms", odd],
        ["calc", "orifice", odd, "3.5inwc"],
    ):
        ran = faultodds(*line)
        assert (ran.code, "error of its own" in ran.err, len(ran.err) < 1500) == (2, False, True), (line, ran.err[:300])


MORE = ("calc duct 22ft --elbow 90", "calc duct 22ft --elbow 90r6", "calc input 1/2 84s --rated 22000")
SUMS = [*(look for look in LOOK if look[0] == "calc" and look[1] != "co"), *(line.split() for line in MORE)]
PLACES = [(line, n) for line in SUMS for n, word in enumerate(line) if word[0].isdigit()]


@pytest.mark.parametrize(
    ("line", "place"), PLACES, ids=lambda each: " ".join(each) if isinstance(each, list) else str(each)
)
def test_a_sum_of_a_number_that_cannot_be_is_bad_input(line: list[str], place: int) -> None:
    """Each number of every sum but carbon monoxide, where too much is no slip but a stop."""
    for odd in ODD:
        ran = faultodds(*line[:place], odd, *line[place + 1 :])
        none = odd == "1e-320" and ran.code == 0  # of a reading no more than nothing
        assert none or (ran.code, len(ran.err) < 1500) == (2, True), (odd, ran.err[:300])
        assert not {"inf", "nan"} & set(ran.out.split()), (odd, ran.out)


@pytest.mark.parametrize("odd", [*ODD[1:], "hot", "155", "-60F", "200C"])
@pytest.mark.parametrize("line", ["read igniter_ohms 155", "odds", "job new --found heat=none"])
def test_a_temperature_of_no_room_is_refused_though_nothing_is_judged_by_it(
    line: str, odd: str, tmp_path: Path
) -> None:
    """With readings that need none, or none at all; danger in its place is heard."""
    where = ["--data", str(tmp_path)] if line.startswith("job") else []
    assert faultodds(*line.split(), *where, "--ambient", odd).code == 2
    assert not (tmp_path / "jobs.sqlite").exists()
    assert faultodds(*line.split(), *where, "--ambient", "smell of gas").code == 3
