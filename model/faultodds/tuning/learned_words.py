"""What a learned number is, in a technician's words, and which numbers moved most.

A path of `overlay.py` says where a number stands in the knowledge file; here it gets a title, a kind that groups it with its
like, and a scale from 0 to 1 where it is a share or a chance.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from faultodds.knowledge import NOTHING_WRONG, SEPARATOR, UNLISTED, Knowledge
from faultodds.revisions import Number

Kind = Literal["causes", "companions", "facts", "checks", "repairs", "habits", "other"]
KIND_TITLES: Final[dict[str, str]] = {
    "causes": "main causes, share of calls",
    "companions": "faults that come along, chance",
    "facts": "what the facts say, factor",
    "checks": "what symptoms and checks show, chance",
    "repairs": "repairs that take, chance",
    "habits": "what the log says by the way, chance",
}
_HABITS: Final = {
    "back_if_wrong": "customer comes back when something is still wrong",
    "back_if_right": "customer comes back when nothing is",
    "done_if_needed": "a needed repair gets done",
    "done_anyway": "a repair gets done that is not needed",
}
#: Under so many jobs a change is not called out as news when there is no interval to go by.
ENOUGH: Final = 8.0
#: A number this near the file's is no news, however sure.
A_TENTH: Final = 0.1


@dataclass(frozen=True)
class Item:
    """A learned number as it is shown. Shares and chances are from 0 to 1; factors (kind "facts") are as they are."""

    path: str
    kind: Kind
    title: str
    learned: float
    file: float | None = None
    low: float | None = None
    high: float | None = None
    jobs: float | None = None
    draws: float | None = None
    held: float | None = None

    @property
    def moved(self) -> bool:
        """Whether the number is a tenth off the file's or more, and that outside the interval; without one, whether enough jobs
        spoke.
        """
        if self.file is None or self._about_the_same(self.file):
            return False
        if self.low is None or self.high is None:
            return (self.jobs or 0.0) >= ENOUGH
        return not self.low <= self.file <= self.high

    def _about_the_same(self, file: float) -> bool:
        near = math.isclose(self.learned, file, rel_tol=A_TENTH)
        # A check that is right 99 times in 100 in place of 98 is wrong half as often.
        return near and (self.kind in ("causes", "facts") or math.isclose(1 - self.learned, 1 - file, rel_tol=A_TENTH))

    @property
    def news(self) -> float:
        """How far the learned number is from the file's, in nats a job: the larger, the more it matters."""
        if self.file is None or self.file <= 0 or self.learned <= 0:
            return 0.0
        if self.kind == "facts":
            return 0.05 * abs(math.log(self.learned / self.file))
        return _divergence(self.learned, self.file)


def items(knowledge: Knowledge, numbers: Mapping[str, Number]) -> list[Item]:
    """Every learned number with its title, in the order of the file; names the file no longer has keep their path."""
    total = sum(m.share for _, m in knowledge.modes())
    total += knowledge.other_causes.nothing_wrong + knowledge.other_causes.unlisted
    return [_item(knowledge, path, number, total) for path, number in numbers.items()]


def of_kind(found: Iterable[Item], kind: str) -> list[Item]:
    """The items of one kind, the largest learned share first for main causes, else the one that moved most first."""
    chosen = [item for item in found if item.kind == kind]
    by = (lambda i: -i.learned) if kind == "causes" else (lambda i: (not i.moved, -i.news))
    return sorted(chosen, key=by)


def movers(found: Iterable[Item], causes: int = 5, others: int = 3) -> list[Item]:
    """The numbers that moved most for good reason: main causes first, then the others."""
    ranked = sorted((i for i in found if i.moved), key=lambda i: -i.news)
    first = [i for i in ranked if i.kind == "causes"][:causes]
    return first + [i for i in ranked if i.kind not in ("causes", "habits", "other")][:others]


def sentence(item: Item) -> str:
    """A mover in plain words: how many times the file's number, both numbers, and how sure."""
    assert item.file is not None  # only movers are told
    sure = f" (90 % sure: {span(item)})" if item.low is not None else ""
    if item.kind == "repairs":
        return f"'{item.title}' takes {percent(item.learned)} of the time here, {percent(item.file)} in the file{sure}."
    if item.kind == "facts":
        return f"{item.title}: {_times(item.learned)} here, {_times(item.file)} in the file{sure}."
    both = f"{percent(item.learned)} against {percent(item.file)}"
    if item.kind == "causes":
        times = item.learned / item.file
        if times < 1:
            return f"Your shop sees {_part(times)} of the file's calls for '{item.title}': {both}{sure}."
        return f"Your shop sees {times:.2g} times the calls for '{item.title}' of the file: {both}{sure}."
    return f"{item.title}: {percent(item.learned)} here, {percent(item.file)} in the file{sure}."


def percent(p: float) -> str:
    """A share or chance as a percent with two digits at least."""
    return f"{p * 100:.0f} %" if p >= 0.0995 else f"{p * 100:.2g} %"


def shown(item: Item, value: float | None) -> str:
    """One of an item's numbers in its own unit; "" when there is none."""
    if value is None:
        return ""
    return f"x {value:.2g}" if item.kind == "facts" else percent(value)


def span(item: Item) -> str:
    """The interval of an item that has one, in its own unit."""
    assert item.low is not None and item.high is not None
    if item.kind == "facts":
        return f"{item.low:.2g} to {item.high:.2g}"
    return f"{percent(item.low).removesuffix(' %')} to {percent(item.high)}"


def _part(times: float) -> str:
    return "half" if 0.45 <= times <= 0.55 else percent(times)


def _times(factor: float) -> str:
    return f"{factor:.2g} times as common"


def _divergence(p: float, q: float) -> float:
    """Kullback-Leibler divergence of two chances, in nats."""
    p, q = min(p, 1 - 1e-9), min(q, 1 - 1e-9)
    return p * math.log(p / q) + (1 - p) * math.log((1 - p) / (1 - q))


# --- titles --------------------------------------------------------------------------------------------------------


def _item(k: Knowledge, path: str, number: Number, total: float) -> Item:
    try:
        kind, title = _title(k, path.split(SEPARATOR))
    except (KeyError, IndexError, StopIteration):
        kind, title = "other", path
    scale = total if kind == "causes" else 1.0
    learned, file, low, high = (
        None if value is None else value / scale for value in (number.learned, number.file, number.low, number.high)
    )
    assert learned is not None
    return Item(path, kind, title, learned, file, low, high, number.jobs, number.draws, number.held)


def _title(k: Knowledge, parts: list[str]) -> tuple[Kind, str]:
    match parts:
        case ["component", component, "modes", mode, "share"]:
            return "causes", k.title_of(f"{component}.{mode}")
        case ["other_causes", "nothing_wrong" | "unlisted" as cause]:
            return "causes", k.title_of(cause)
        case ["component", component, "modes", mode, "companion"]:
            return "companions", f"{k.title_of(f'{component}.{mode}')}, beside another fault"
        case ["component", component, "modes", mode, "brings_on", other]:
            return "companions", f"{k.title_of(f'{component}.{mode}')} brings on {k.title_of(other)}"
        case ["other_causes", "companion"]:
            return "companions", "any fault without a rate of its own, beside another"
        case ["context", fact, "usual", value]:
            return "facts", f"{fact} {k.context[fact].values[value]}, on all calls"
        case ["context", fact, "more_often", cause, value]:
            return "facts", f"{fact} {k.context[fact].values[value]}, when it is {_cause(k, cause)}"
        case ["symptom" | "check", name, *rest]:
            return "checks", f"{k.observables[name].title}: {_showing(k, name, rest)}"
        case ["repair", repair, "success"]:
            return "repairs", k.repair[repair].title
        case ["log", habit]:
            return "habits", _HABITS[habit]
    raise KeyError(parts)


def _showing(k: Knowledge, name: str, rest: list[str]) -> str:
    observable = k.observables[name]
    outcomes = observable.outcomes
    match rest:
        case ["leak"] | ["leak", _]:
            return f"'{_outcome(outcomes, rest[1:])}' with no cause for it"
        case ["links", ref] | ["links", ref, _]:
            return f"'{_outcome(outcomes, rest[2:])}' with {_state(k, ref)}"
        case ["table", row] | ["table", row, _]:
            return f"'{_outcome(outcomes, rest[2:])}' with {_row(k, observable.depends_on, row)}"
    raise KeyError(rest)


def _outcome(outcomes: Mapping[str, str], named: list[str]) -> str:
    """The outcome a path names, or the one that is not normal when it names none."""
    return (named[0] if named else list(outcomes)[1]).replace("_", " ")


def _state(k: Knowledge, ref: str) -> str:
    parent, _, state = ref.partition(".")
    if parent in k.mechanism:
        return f"{k.mechanism[parent].title} {k.mechanism[parent].states[state]}"
    return k.title_of(ref)


def _row(k: Knowledge, parents: list[str], row: str) -> str:
    """A row of a table in words: the state of each thing it depends on."""
    states = [state.strip() for state in row.split(",")]
    if len(states) != len(parents):
        return f"{', '.join(_parent(k, p) for p in parents)} in any other state"
    return ", ".join(f"{_parent(k, p)} {_state_words(k, p, s)}" for p, s in zip(parents, states, strict=True))


def _parent(k: Knowledge, name: str) -> str:
    record = k.component.get(name) or k.mechanism.get(name)
    return record.title if record else "a cause this file does not list:"


def _state_words(k: Knowledge, parent: str, state: str) -> str:
    if parent in k.component and state in k.component[parent].modes:
        return k.component[parent].modes[state].title
    if parent in k.mechanism and state in k.mechanism[parent].states:
        return k.mechanism[parent].states[state]
    return state.replace("_", " ")


def _cause(k: Knowledge, name: str) -> str:
    if name in k.component:
        return f"any fault of: {k.component[name].title}"
    return k.title_of(name) if name in (NOTHING_WRONG, UNLISTED) or "." in name else name
