"""Reads `world.toml`: conditions in words, how things stand under some faults, and tables of chances by what holds first."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from itertools import product
from pathlib import Path
from typing import Any

WORLD = Path(__file__).with_name("world.toml")
NOTHING, UNLISTED = "nothing_wrong", "unlisted"
#: A condition and what follows from it.
Row = Sequence[Any]


@dataclass(frozen=True)
class Word:
    """One word of a condition. `name` is a state ("state"), a fact ("fact") or a fault ("fault"), perhaps with its kind."""

    sort: str
    name: str
    values: tuple[str, ...]
    negated: bool


@cache
def words(condition: str) -> tuple[tuple[Word, ...], ...]:
    """A condition as alternatives of words that must all hold."""
    return tuple(tuple(_word(w) for w in part.split()) for part in condition.split("|"))


def _word(text: str) -> Word:
    bare = text.removeprefix("!")
    for sign, sort in ((":", "state"), ("=", "fact")):
        name, found, values = bare.partition(sign)
        if found:
            return Word(sort, name, tuple(values.split(",")), bare != text)
    return Word("fault", bare, (), bare != text)


@dataclass(frozen=True)
class World:
    """The world as its file says it."""

    told: Mapping[str, Any]

    @cached_property
    def main(self) -> dict[str, float]:
        """Share of calls that each fault is the main cause of; they add up to 1."""
        total = sum(self.told["main"].values())
        return {mode: share / total for mode, share in self.told["main"].items()}

    @cached_property
    def looks(self) -> dict[str, Mapping[str, Any]]:
        """Symptoms and checks by name."""
        return {**self.told["symptom"], **self.told["check"]}

    @cached_property
    def leads(self) -> dict[str, list[str]]:
        """The facts drawn before each fact that it goes by, straight or through others and how things stand."""
        order = list(self.told["fact"])
        return {name: [f for f in order[:at] if f in self._behind("fact", name)] for at, name in enumerate(order)}

    def _behind(self, sort: str, name: str) -> set[str]:
        table = self.told[sort][name]
        named = [w for row in table["rows"] for part in words(row[0]) for w in part if w.sort != "fault"]
        further = {(w.sort, w.name) for w in named} | {("state", n) for n in table.get("sum", ())}
        return {n for s, n in further if s == "fact"} | {f for s, n in further for f in self._behind(s, n)}

    def faulty(self) -> list[str]:
        """What is wrong with this file's words and sums, a line each; empty when all is well."""
        return [*self._sums(), *self._strange()]

    def _sums(self) -> Iterator[str]:
        for name, table in {**self.looks, **self.told["fact"], "callback": self.told["callback"]}.items():
            size = len(table.get("outcomes") or table.get("values") or "12")
            for condition, *chances in table["rows"]:
                if len(chances) != size or min(chances) < 0 or abs(sum(chances) - 1) > 1e-9:
                    yield f"{name}: row '{condition}' has {chances}, not {size} chances that add up to 1"
            if table["rows"][-1][0]:
                yield f"{name}: the last row must hold always"
        for name, kinds in self.told["kinds"].items():
            if abs(sum(kinds.values()) - 1) > 1e-9:
                yield f"kinds of {name}: {kinds} do not add up to 1"

    def _strange(self) -> Iterator[str]:
        for where, condition in self._conditions():
            for word in (w for part in words(condition) for w in part):
                if not self._known(word):
                    yield f"{where}: '{condition}' speaks of '{word.name}' {','.join(word.values)}, which there is not"
        brought = [m for found in self.told["brings"].values() for m in found]
        bad = [mode for _, mode in self.told["bad_part"].values()]
        for mode in (*brought, *bad, *self.told["brings"], *self.told["background"], *self.told["kinds"]):
            if mode not in self.main:
                yield f"'{mode}' is no fault of [main]"

    def _conditions(self) -> Iterator[tuple[str, str]]:
        tables = {**self.looks, **self.told["fact"], **self.told["state"], "callback": self.told["callback"]}
        for name, table in tables.items():
            yield from ((name, row[0]) for row in table["rows"])
            yield name, table.get("needs", "")
        for name, rows in self.told["repairs"].items():
            yield from ((name, row[0]) for row in rows)
        yield from (("customer", c) for c in (*self.told["customer"]["never"], *self.told["customer"]["slight"]))

    def _known(self, word: Word) -> bool:
        if word.sort == "state":
            return set(word.values) <= set(self.told["state"].get(word.name, {}).get("levels", ()))
        if word.sort == "fact":
            return set(word.values) <= set(self.told["fact"].get(word.name, {}).get("values", ()))
        mode, kind = split_kind(word.name)
        return mode in self.main and (not kind or kind in self.told["kinds"].get(mode, ()))


def split_kind(name: str) -> tuple[str, str]:
    """Fault and kind: ("igniter.weak", "late"), ("unlisted", "air"), ("igniter.open", "")."""
    parts = name.split(".")
    own = 1 if parts[0] in (NOTHING, UNLISTED) else 2
    return ".".join(parts[:own]), ".".join(parts[own:])


@cache
def the_world() -> World:
    """The world of `world.toml`."""
    return World(tomllib.loads(WORLD.read_text(encoding="utf-8")))


@dataclass(frozen=True)
class Scene:
    """A machine in a house with some faults: `faults` are modes, and modes with their kinds."""

    world: World
    faults: Collection[str]
    facts: Mapping[str, str]
    _levels: dict[str, str] = field(default_factory=dict)

    def holds(self, condition: str) -> bool:
        """Whether a condition holds here."""
        for part in words(condition):
            for word in part:
                if self._is(word) == word.negated:
                    break
            else:
                return True
        return False

    def _is(self, word: Word) -> bool:
        if word.sort == "fault":
            return word.name in self.faults
        return (self.level(word.name) if word.sort == "state" else self.facts.get(word.name)) in word.values

    def first(self, rows: Sequence[Row]) -> list[Any]:
        """What the first row that holds says."""
        return next(list(row[1:]) for row in rows if self.holds(row[0]))

    def level(self, state: str) -> str:
        """How something stands."""
        if state not in self._levels:
            table = self.world.told["state"][state]
            self._levels[state] = self._added(table) if "at" in table else self._worst(table)
        return self._levels[state]

    def _added(self, table: Mapping[str, Any]) -> str:
        total = self._total(table)
        return [level for level, at in zip(table["levels"], table["at"], strict=True) if total >= at - 1e-9][-1]

    def _total(self, table: Mapping[str, Any]) -> float:
        own = sum(points for condition, points in table["rows"] if self.holds(condition))
        return own + sum(self._total(self.world.told["state"][name]) for name in table.get("sum", ()))

    def _worst(self, table: Mapping[str, Any]) -> str:
        levels = table["levels"]
        return levels[max([0, *(levels.index(level) for condition, level in table["rows"] if self.holds(condition))])]


def kinds_of(world: World, mode: str) -> dict[str, float]:
    """The kinds of a fault by the name that conditions use, with their chances; the fault itself when it has no kinds."""
    return {f"{mode}.{kind}": p for kind, p in world.told["kinds"].get(mode, {}).items()} or {mode: 1.0}


def chances(world: World, mode: str, name: str, facts: Mapping[str, str]) -> list[float] | None:
    """Chance of each outcome of a symptom or check under one fault alone; None where such a machine does not have it."""
    table = world.looks[name]
    total = [0.0] * len(table["outcomes"])
    for kind, p in kinds_of(world, mode).items():
        scene = Scene(world, {mode, kind}, facts)
        if not scene.holds(table.get("needs", "")):
            return None
        total = [t + p * c for t, c in zip(total, scene.first(table["rows"]), strict=True)]
    return total


def fact_chances(world: World, mode: str) -> dict[str, dict[str, float]]:
    """Chance of each value of each fact under one fault, by walking through all that is drawn before it."""
    found: dict[str, dict[str, float]] = {name: {} for name in world.told["fact"]}
    for kind, p in kinds_of(world, mode).items():
        for name, table in world.told["fact"].items():
            for before, weight in _ways_before(world, {mode, kind}, name):
                row = Scene(world, {mode, kind}, before).first(table["rows"])
                for value, chance in zip(table["values"], row, strict=True):
                    found[name][value] = found[name].get(value, 0.0) + p * weight * chance
    return found


def _ways_before(world: World, faults: set[str], name: str) -> Iterator[tuple[dict[str, str], float]]:
    leading = world.leads[name]
    for values in product(*(world.told["fact"][f]["values"] for f in leading)):
        facts: dict[str, str] = {}
        weight = 1.0
        for fact, value in zip(leading, values, strict=True):
            table = world.told["fact"][fact]
            row = Scene(world, faults, facts).first(table["rows"])
            weight *= row[table["values"].index(value)]
            facts[fact] = value
        if weight:
            yield facts, weight


def untold_pairs(world: World, cures: Mapping[str, Collection[str]], least: float = 0.05) -> list[tuple[str, str]]:
    """Pairs of faults with no cure in common that no symptom, check or fact tells apart by more than `least` in any outcome.

    Each fault stands alone, on machines with timer and with board, auto-dry and meter among them, in the commonest house.
    """
    modes = [m for m in world.main if m not in (NOTHING, UNLISTED)]
    known = {m: fact_chances(world, m) for m in modes}
    house = {f: max(v, key=lambda x: v[x]) for f, v in fact_chances(world, NOTHING).items()}
    machines = [{**house, "auto_dry": "yes", "gas_meter": "yes", "control": c} for c in ("timer", "board")]
    seen = {m: [_looks(world, m, facts) for facts in machines if known[m]["control"][facts["control"]]] for m in modes}

    def apart(a: str, b: str) -> bool:
        facts = (abs(known[a][f][v] - p) for f, values in known[b].items() for v, p in values.items())
        looks = (abs(x - here[at]) for here in seen[a] for there in seen[b] for at, x in there.items() if at in here)
        return max(facts) > least or max(looks) > least

    pairs = [(a, b) for i, a in enumerate(modes) for b in modes[i + 1 :]]
    return [(a, b) for a, b in pairs if not set(cures[a]) & set(cures[b]) and not apart(a, b)]


def _looks(world: World, mode: str, facts: Mapping[str, str]) -> dict[tuple[str, int], float]:
    """Chance of every outcome (by look and number) under one fault on one machine."""
    found = {name: chances(world, mode, name, facts) or [] for name in world.looks}
    return {(name, i): p for name, row in found.items() for i, p in enumerate(row)}
