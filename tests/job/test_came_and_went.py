"""Heat or flame that is there at first and not later, and the other way round, is never taken for none, or for its opposite. Every
phrase was written before the words that hear it."""

from __future__ import annotations

import pytest

from faultodds.belief import Appliance
from faultodds.job import Store
from said import becomes

GOES = (
    "fires up but no heat after ten minutes", "lit fine and then no heat", "theres heat to begin with then none",
    "burner catches but no heat once its warmed up", "no heat when it gets hot", "no heat after it warms up",
    "good heat for 5 minutes then no heat", "warm to start with but no heat later", "heats when cold, no heat when hot",
    "lights the first time then no heat", "got heat on a cold machine but no heat on a hot one",
    "no heat after the first ten minutes", "hot air at the beginning, no heat by the end", "ignites once but no heat after that",
    "heats a while and then no heat", "blows hot for a bit then blows cold", "no more heat once it has run a while",
    "burner works initially but doesnt heat later", "no heat halfway thru the cycle", "heat comes and then no heat",
    "was warm the first 15 min then no heat at all", "heats up then wont heat again", "flame at first, no heat afterwards",
    "runs hot then no heat", "heats ok then wont heat till it cools down",
)  # fmt: skip
CAUGHT = (
    "heats at first then the flame wont come back", "burner lights then stays out", "burner lit once and never relit",
    "heat dies after a few minutes", "heats to begin with then burner never returns", "starts warm and finishes cold",
    "heat at the start only", "only heats the first few minutes", "heats for ten minutes then stone cold",
    "hot to begin with, cold by the end",
)  # fmt: skip
COMES = (
    "no heat at first then it heats", "cold at first, gets warm later", "no heat for ten minutes then heats fine",
    "wont heat until its run a while", "no heat to start with, heats after a bit", "doesnt heat at first but comes good",
    "takes a while to heat, no heat before that", "no heat when cold, heats once warmed up", "blows cold 5 minutes then hot",
    "no heat till the second cycle", "starts cold then warms up", "no heat on the first load, heats on the next",
    "stone cold at the start, hot by the end", "wont heat the first time, second time it does", "no heat initially, ok later",
    "doesnt heat up until halfway", "never heats right away but does eventually", "no heat at the beginning then plenty",
    "not heating at first, later it does", "cold to begin with then it heats", "slow to come on, no heat first 10 minutes",
)  # fmt: skip
NEVER = (
    "no heat at all", "wont heat", "no heat on high", "no heat on any cycle", "never heats", "no heat, motor runs",
    "tumbles but no heat", "drum turns no heat", "no heat since yesterday", "not heating", "no heat on hot setting",
    "spins fine but doesnt heat", "no heat, drum light works",
)  # fmt: skip


@pytest.mark.parametrize("line", [*GOES, *CAUGHT])
@pytest.mark.parametrize("prompt", ["any", "complaint"])
def test_heat_that_goes_is_not_none(line: str, prompt: str, dryer: Appliance, store: Store) -> None:
    """It is there at first: read so, or asked about; nothing else of the heat is entered."""
    entered, told = becomes(dryer, store, line, prompt)
    assert not {"heat=none", "heat=normal", "glow=normal", "glow=no_glow"} & {*entered}, entered
    assert entered or told


@pytest.mark.parametrize("line", COMES)
@pytest.mark.parametrize("prompt", ["any", "complaint"])
def test_heat_that_comes_late_is_neither_none_nor_heat_that_goes(
    line: str, prompt: str, dryer: Appliance, store: Store
) -> None:
    """It has no outcome of its own: asked about."""
    entered, told = becomes(dryer, store, line, prompt)
    assert not [each for each in entered if each.startswith("heat=")], entered
    assert told


@pytest.mark.parametrize("line", NEVER)
def test_no_heat_at_any_time_is_none(line: str, dryer: Appliance, store: Store) -> None:
    """What tells of no time of heat is not asked about."""
    assert "heat=none" in becomes(dryer, store, line)[0]


def test_most_of_what_goes_is_read(dryer: Appliance, store: Store) -> None:
    """A question for every line would be no help."""
    read = [line for line in GOES if "heat=cools_off" in becomes(dryer, store, line)[0]]
    assert len(read) >= len(GOES) * 2 // 5, read
