"""What a technician types of the supply: volts, and a breaker that was found tripped."""

from __future__ import annotations

from pathlib import Path

import pytest

from calls import STRAIGHT_ON, bench, looked_at
from faultodds.belief import Appliance
from faultodds.job import Store
from said import becomes


@pytest.mark.parametrize(
    "line",
    [
        "outlet_voltage=168",
        "outlet_voltage=131",
        "outlet_voltage 142 V",
        "outlet voltage 133",
        "outlet_voltage=130.5 v",
        "outlet_voltage=104 v",
        "outlet_voltage 101 V",
        "outlet voltage 99",
        "outlet_voltage=low",
        "outlet_voltage=94-118",
    ],
)
def test_more_volts_than_a_sound_supply_has_stop_and_fewer(line: str, dryer: Appliance, store: Store) -> None:
    """A neutral that may be lost: nobody is asked to type it as another number."""
    assert becomes(dryer, store, line)[0] == ["stop"]


@pytest.mark.parametrize(
    "line",
    [
        "outlet_voltage=118 V",
        "outlet_voltage=129",
        "outlet_voltage=109 v",
        "outlet_voltage=normal",
        "outlet_voltage=119, 2 readings",
        "outlet_voltage=168 mV",
        "dry_time=140",
    ],
)
def test_what_a_sound_supply_has_does_not(line: str, dryer: Appliance, store: Store) -> None:
    """Nor does a number of something else."""
    assert becomes(dryer, store, line)[0] != ["stop"]


FOUND_TRIPPED = (
    "breaker was tripped when i got here, reset it, holds", "breaker half tripped", "breaker was halfway",
    "breaker sitting in the middle", "found breaker tripped, flipped it back, ok now",
    "the gfci was tripped, pushed it in, stays in", "rcd had tripped, reset and it holds",
    "breaker tripped on arrival, put it back on", "afci tripped, reset once", "breaker handle half way",
    "breaker in the middle position", "gfi was popped, reset it", "breaker partly tripped",
    "her breaker was tripped so i reset it", "main breaker half off", "customer reset the tripped breaker",
    "reset a tripped breaker", "breaker between on and off", "found the rcd tripped, it holds now",
    "breaker tripped before i came, back on now", "breaker not fully on",
)  # fmt: skip


@pytest.mark.parametrize("line", FOUND_TRIPPED)
def test_a_breaker_that_was_found_tripped_is_asked_about(line: str, dryer: Appliance, store: Store) -> None:
    """It had a cause: that it holds now is not taken for all well, and no state of the machine is taken from it."""
    entered, told = becomes(dryer, store, line)
    assert entered == []
    assert "trips again" in told, told


@pytest.mark.parametrize(
    "line", ["breaker off", "turned the breaker off", "limit tripped at 250", "unplugged", "thermal fuse tripped"]
)
def test_what_is_no_tripped_breaker_is_not(line: str, dryer: Appliance, store: Store) -> None:
    """They share its words."""
    assert "trips again" not in becomes(dryer, store, line)[1]


# Written before the code: what is off is the feed, and the plug may still be in, or another way may feed it.
ONLY_THE_FEED = (
    "breaker's off", "switched the breaker off", "flipped her breaker off", "breaker 9 off", "gfci off", "rcd is off",
    "rcbo off", "main switch is off", "switched off at the main switch", "mains off at the board", "isolator off",
    "switched off at the panel", "breaker locked off", "power off at the breaker", "power off, at the panel",
    "power's off, killed the breaker", "mcb is off", "isolator is off and locked", "cut it at the breaker",
    "killed the juice at the panel", "consumer unit off", "breaker locked off, not proved dead", "breaker off and proved dead",
    "mains switched off only, plug is in still", "shut power off at the main switch",
)  # fmt: skip
# Nor is power that is off, wherever that was done.
ONLY_OFF = (
    "powers off", "the power is off now", "power's been cut", "juice is off", "electric is off", "killed the juice",
    "shut the power off", "turned the power off", "switched off the power", "power shut off", "cut power to it", "i cut the power",
    "power down, off", "electricity off", "power off now", "turned off the electric", "power is killed", "power isolated",
    "dryer power off", "power off to the dryer", "turned off power", "power switched off",
)  # fmt: skip
OFF_SOMEWHERE = (
    "turned off", "turned it off", "switched it off", "shut it off", "shes off", "its off", "machine is off", "dryer off",
    "off at the knob", "knob turned to off", "turned the dryer off", "dryer is switched off", "its turned off", "off",
    "switched her off", "machine turned off", "off at the wall", "off at the timer", "all off", "dryer shut off",
)  # fmt: skip
# Of a machine with no plug to pull: what is still to be said is whether it was proved dead.
LOCKED = (
    "hard wired, breaker locked off", "hardwired, breaker off and locked", "its hard wired, breaker off and tagged",
    "hardwired: isolator locked out", "hard wired, main switch off n locked", "no plug on it, breaker off and locked off",
    "hardwired, fuse pulled and in my pocket", "hard wired, pulled the fuse, got it in my pocket", "breaker off, locked and tagged",
    "breaker off padlock on it", "hardwired, disconnect pulled and in my bag", "hardwired, breaker off, lock on it",
    "hard-wired breaker tagged out",
    "direct wired, breaker off and locked out", "isolator off and padlocked", "breaker locked out tagged out",
    "hardwired, rcbo off and locked", "hard wired, breaker off with a lock on", "no plug, hardwired, breaker locked",
)  # fmt: skip
BY_ANOTHER_WORD = (
    "house fuse out", "pulled the house fuse", "isolated at the switch", "spur off", "locked off at the board",
    "isolated", "disconnect is off", "de-energised", "locked off", "proved dead",
    "breaker off, plug not out", "locked off and dead maybe", "main fuse pulled",
    "breaker locked off, should be dead", "locked off, gonna prove it dead", "not locked off but proved dead",
)  # fmt: skip
PLUG_OUT = (
    "breaker off and unplugged", "plug out, breaker off too", "breaker off, cord pulled", "pulled the plug, killed the breaker",
    "power off at the breaker, plug out",
)  # fmt: skip
PROVED = (
    "breaker locked off and proved dead", "isolator locked off, proved dead", "hard wired: breaker locked out, tested dead",
    "locked off and proven dead", "hardwired, locked off, proved dead", "main switch locked off and tested dead",
)  # fmt: skip


@pytest.mark.parametrize("line", [*ONLY_THE_FEED, *ONLY_OFF, *OFF_SOMEWHERE, *BY_ANOTHER_WORD])
def test_a_feed_that_is_off_is_no_plug_that_is_out(line: str, dryer: Appliance, store: Store) -> None:
    """The cabinet does not open for it; where its words are known, what counts is told."""
    entered, told = becomes(dryer, store, line)
    assert "unplugged: yes" not in entered and told
    if line in (*ONLY_THE_FEED, *ONLY_OFF):
        assert "is not unplugged" in told, (entered, told)


@pytest.mark.parametrize("line", LOCKED)
@pytest.mark.parametrize(
    ("answer", "counts"),
    [
        ("yes", True),
        ("proved dead", True),
        ("tested it dead", True),
        ("no", False),
        ("not yet", False),
        ("think so", False),
    ],
)
def test_a_feed_locked_off_counts_once_it_is_proved_dead(
    line: str, answer: str, counts: bool, dryer: Appliance, store: Store
) -> None:
    """That is asked, and a plain yes is enough."""
    entered, told = becomes(dryer, store, line, answers=[answer])
    assert ("unplugged: yes" in entered) == counts, (entered, told)
    assert "proved dead" in told.casefold()


@pytest.mark.parametrize("line", [*PLUG_OUT, *PROVED])
def test_a_plug_that_is_out_or_a_feed_locked_off_and_proved_dead_counts(
    line: str, dryer: Appliance, store: Store
) -> None:
    """Said in so many words."""
    entered, told = becomes(dryer, store, line)
    assert "unplugged: yes" in entered and "is not unplugged" not in told, (entered, told)


def test_beside_the_feed_the_gas_is_noted(dryer: Appliance, store: Store) -> None:
    """Nothing that was entered is lost, and nothing opens behind it."""
    for line in ("breaker off, gas off", "main switch off gas cock shut", "gas off and the rcd off"):
        entered, told = becomes(dryer, store, line)
        assert "gas_shut: yes" in entered and "unplugged: yes" not in entered and "is not unplugged" in told, line


def test_nothing_opens_behind_a_breaker(dryer: Appliance, store: Store) -> None:
    """The front that is said to be off is asked about, as the plug is not out."""
    entered, told = becomes(dryer, store, "breaker off, gas off, front off")
    assert not {"unplugged: yes", "front_open: yes"} & {*entered} and "is not unplugged" in told


def test_what_is_told_then_is_taken(tmp_path: Path) -> None:
    """In the words that were asked for."""
    ended = bench(tmp_path, *STRAIGHT_ON, "heat=none", "rcd off", "plug out", "leave")
    with looked_at(tmp_path) as visit:
        assert "unplugged" in visit.state
    assert "is not unplugged" in " ".join(ended.out.split())


def test_an_answer_to_how_the_machine_is_does_not_open_it_by_its_breaker(tmp_path: Path) -> None:
    """What else it tells is taken."""
    out = " ".join(
        bench(
            tmp_path, *STRAIGHT_ON, "heat=none", "igniter_ohms=60", "breaker off, gas off, front off", "leave"
        ).out.split()
    )
    assert "So far: gas cock shut" in out and "is not unplugged" in out
    with looked_at(tmp_path) as visit:
        assert "unplugged" not in visit.state
