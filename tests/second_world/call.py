"""One service call in the second world, used as `TrialJob` uses a call of the simulator.

The luck of a call hangs on its seed, its number, what is looked at or done and how often that was done before, and on nothing
else: every policy meets the same luck, whatever it did first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import Any

from faultodds_sim.repairs import CURES
from second_world.world import NOTHING, UNLISTED, Row, Scene, World, kinds_of, split_kind, the_world, words


@dataclass(frozen=True)
class Seen:
    """What a check gave: an outcome by name, and no reading."""

    check: str
    outcome: str
    value: None = None
    unit: str = ""
    ambient_f: None = None

    @property
    def text(self) -> str:
        """What a technician would write down."""
        return self.outcome


@dataclass
class SecondCall:
    """One call. `house` is machine and house as they are; `facts` and `equipment` what the shop is told of them."""

    world: World
    seed: int
    number: int
    true_modes: frozenset[str]
    main_cause: str
    kinds: Mapping[str, str]
    house: Mapping[str, str]
    facts: Mapping[str, str] = field(default_factory=dict)
    equipment: Mapping[str, str] = field(default_factory=dict)
    complaint: Mapping[str, str] = field(default_factory=dict)
    modes_left: set[str] = field(default_factory=set)
    repairs_done: list[str] = field(default_factory=list)
    _takes: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """Put the machine back as it was found."""
        self.modes_left = set(self.true_modes)
        self.repairs_done = []
        self._takes = {}

    def luck(self, *what: object) -> float:
        """A number from 0 to 1 for something on this call; the same whenever it is asked for."""
        return luck(self.seed, self.number, *what)

    # --- looking ---

    def possible(self, check: str) -> bool:
        """Whether the machine has what the check looks at."""
        return self._found.holds(self.world.told["check"][check].get("needs", ""))

    def check(self, name: str, who: str = "T2") -> Seen:
        """Do a check; now and then something is overlooked or written down wrongly, the more so by who does it."""
        if not self.possible(name):
            raise ValueError(f"this machine has nothing for '{name}'")
        table, usual = self.world.told["check"][name], self.world.told["looking"]
        take = self._takes[name] = self._takes.get(name, 0) + 1
        often = self.world.told["technician"][who]
        overlooked = self.luck("overlook", name, take) < often * table.get("overlook", usual["overlook"])
        row = table["rows"][-1][1:] if overlooked else self._now.first(table["rows"])
        luck = self.luck("check", name, self._touched(table["rows"]) if table.get("settled") else take)
        outcome = drawn(table["outcomes"], row, luck)
        slip = often * table.get("slip", usual["slip"])
        return Seen(name, other(table["outcomes"], outcome, self.luck("slip", name, take), slip))

    def _touched(self, rows: Sequence[Row]) -> int:
        """How many repairs have been done on what a check looks at: a new screen has not the stains of the old one."""
        looked_at = {split_kind(w.name)[0] for row in rows for part in words(row[0]) for w in part if w.sort == "fault"}
        cures = {name for mode in looked_at for name in CURES.get(mode, ())}
        return sum(name in cures for name in self.repairs_done)

    def ask(self, symptom: str) -> str | None:
        """What the customer says when asked, of how the machine was before anybody came; after a repair, which the customer has
        not lived with, what whoever looks for it sees. None when there is nobody to say; facts of the house are told unasked or
        not at all.
        """
        table = self.world.told["symptom"].get(symptom)
        if table is None or not self._found.holds(table.get("needs", "")):
            return None
        if self.repairs_done:
            return self.looked(symptom)
        if symptom in self.complaint:
            return self.complaint[symptom]
        return self.would_say(symptom) if self.luck("knows", symptom) < self.customers(table, "knows") else None

    def would_say(self, symptom: str) -> str:
        """What the customer says of a symptom, if anything."""
        table = self.world.told["symptom"][symptom]
        outcome = drawn(table["outcomes"], self._found.first(table["rows"]), self.luck("symptom", symptom))
        return other(table["outcomes"], outcome, self.luck("said wrongly", symptom), self.customers(table, "wrong"))

    def looked(self, symptom: str) -> str:
        """What somebody sees who looks for a symptom now, with the slips of any look."""
        table, done = self.world.told["symptom"][symptom], len(self.repairs_done)
        outcome = drawn(table["outcomes"], self._now.first(table["rows"]), self.luck("symptom", symptom, done))
        return other(
            table["outcomes"], outcome, self.luck("looked wrongly", symptom, done), self.world.told["looking"]["slip"]
        )

    def customers(self, table: Mapping[str, Any], what: str) -> float:
        """A number of customers for one symptom, or the usual one."""
        return float(table.get(what, self.world.told["customer"][what]))

    # --- mending ---

    def repair(self, name: str) -> bool:
        """Do a repair; whether it took and the new part, if any, is a good one."""
        times = self.repairs_done.count(name)
        self.repairs_done.append(name)
        told = self.world.told
        fails = self._now.first(told["repairs"].get(name, told["repairs"][""]))[0]
        if self.luck("repair", name, times) < fails:
            return False
        self.modes_left -= {mode for mode in self.modes_left if name in CURES.get(mode, ())}
        often, brought = told["bad_part"].get(name, (0.0, ""))
        if self.luck("bad part", name, times) < often:
            self.modes_left.add(brought)
            return False
        return True

    def works(self) -> bool:
        """Whether the customer has nothing to complain of: what they called for is gone, and nothing else troubles them."""
        customer = self.world.told["customer"]
        if self.main_cause in self.modes_left - {NOTHING} or any(self._now.holds(c) for c in customer["never"]):
            return False
        patient = self.luck("patient") < customer["puts_up_with"]
        return patient or not any(self._now.holds(c) for c in customer["slight"])

    def comes_back(self) -> bool:
        """Whether the customer calls again: when it does not work, and now and then though it does."""
        calls_again = self._now.first(self.world.told["callback"]["rows"])[1]
        return not self.works() or self.luck("calls again") < calls_again

    # --- how things are ---

    @property
    def _now(self) -> Scene:
        return self._scene(self.modes_left)

    @property
    def _found(self) -> Scene:
        return self._scene(self.true_modes)

    def _scene(self, modes: set[str] | frozenset[str]) -> Scene:
        return Scene(self.world, {*modes, *(self.kinds[m] for m in modes if m in self.kinds)}, self.house)


def luck(*what: object) -> float:
    """A number from 0 to 1 that hangs on the words alone."""
    return int.from_bytes(blake2b("|".join(map(str, what)).encode(), digest_size=7).digest()) / 2**56


def drawn(names: Sequence[str], chances: Sequence[float], at: float) -> str:
    """The name that a number from 0 to 1 falls on."""
    for name, chance in zip(names, chances, strict=True):
        at -= chance
        if at < 0:
            return name
    return next(name for name, chance in reversed(list(zip(names, chances, strict=True))) if chance)


def other(names: Sequence[str], said: str, at: float, chance: float) -> str:
    """`said`, or with a chance one of the other names."""
    rest = [name for name in names if name != said]
    return rest[int(at / chance * len(rest))] if at < chance else said


def calls(n: int, seed: int, world: World | None = None) -> Iterator[SecondCall]:
    """The first `n` calls of a series."""
    for number in range(n):
        yield one_call(world or the_world(), seed, number)


def one_call(world: World, seed: int, number: int) -> SecondCall:
    """The call with a number."""
    main = drawn(list(world.main), list(world.main.values()), luck(seed, number, "main"))
    kinds = {mode: _kind(world, seed, number, mode) for mode in world.told["kinds"]}
    house: dict[str, str] = {}
    scene = {main, kinds.get(main, main)}
    for fact, table in world.told["fact"].items():
        row = Scene(world, scene, house).first(table["rows"])
        house[fact] = drawn(table["values"], row, luck(seed, number, "fact", fact))
    modes = _with_others(world, seed, number, main, house)
    call = SecondCall(world, seed, number, modes, main, kinds, house)
    call.equipment = {f: v for f, v in house.items() if world.told["fact"][f].get("equipment")}
    call.facts = dict(_told_facts(call))
    call.complaint = _complaint(call)
    return call


def _kind(world: World, seed: int, number: int, mode: str) -> str:
    kinds = kinds_of(world, mode)
    return drawn(list(kinds), list(kinds.values()), luck(seed, number, "kind", mode))


def _with_others(world: World, seed: int, number: int, main: str, house: Mapping[str, str]) -> frozenset[str]:
    """The main cause, what is there besides, and what they bring on; one fault to a component, none the machine cannot have."""
    if main in (NOTHING, UNLISTED):
        return frozenset({main})
    there = {main}

    def take(mode: str, chance: float, why: str) -> bool:
        component = mode.partition(".")[0]
        taken = any(m.startswith(component + ".") for m in there)
        lacks = any(house[fact] == value and component in parts for (fact, value), parts in LACKS.items())
        if taken or lacks or luck(seed, number, why, mode) >= chance:
            return False
        there.add(mode)
        return True

    waiting = [main, *(m for m, chance in world.told["background"].items() if take(m, chance, "besides"))]
    while waiting:
        cause = waiting.pop(0)
        waiting += [m for m, chance in world.told["brings"].get(cause, {}).items() if take(m, chance, f"by {cause}")]
    return frozenset(there)


#: Components that a machine with this value has not.
LACKS = {
    ("control", "timer"): {"board", "thermistor"},
    ("control", "board"): {"timer", "cycling_thermostat"},
    ("auto_dry", "no"): {"moisture_sensor", "levelling"},
}


def _told_facts(call: SecondCall) -> Iterator[tuple[str, str]]:
    """What the customer tells of the house, now and then wrongly."""
    for fact, table in call.world.told["fact"].items():
        if not table.get("equipment") and call.luck("fact known", fact) < table["known"]:
            yield fact, other(table["values"], call.house[fact], call.luck("fact wrong", fact), table.get("wrong", 0.0))


def _complaint(call: SecondCall) -> dict[str, str]:
    """What the customer tells unasked; the drying time when they would else say nothing out of the ordinary."""
    found = {}
    for name, table in call.world.told["symptom"].items():
        if not Scene(call.world, (), call.house).holds(table.get("needs", "")):
            continue
        said = call.would_say(name)
        often = "mention_ordinary" if said == table["outcomes"][0] else "mention"
        if call.luck("told unasked", name) < call.customers(table, often):
            found[name] = said
    usual = {name: table["outcomes"][0] for name, table in call.world.told["symptom"].items()}
    if all(said == usual[name] for name, said in found.items()):
        found["dry_time"] = "longer"
    return found
