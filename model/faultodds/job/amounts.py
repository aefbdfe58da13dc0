"""Numbers with their units as `readings` takes them, and as the steps of a fact."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import permutations
from typing import TYPE_CHECKING, Any

from faultodds.errors import FaultoddsError
from faultodds.job.clauses import Clause, Item
from faultodds.knowledge import Knowledge
from faultodds.safety import LIKELY

if TYPE_CHECKING:
    from faultodds.readings import ReadingSpec, Winding


def reading_text(spec: ReadingSpec, measured: str, items: Clause) -> str:
    """The numbers of a thought in the words that `readings` knows; "" when they are too many to tell which is meant."""
    numbers = [i for i in items if i.number]
    texts = [f"{i.number} {i.unit or ''}".strip() for i in numbers]
    match spec.kind:
        case "windings":
            return " / ".join(_in_order(texts, numbers, spec.windings))
        case "dial":
            return _dial(numbers)
        case "moisture" if len(numbers) == 2:
            wet, dry = sorted(numbers, key=lambda i: -float(i.number.rstrip("k")))
            return f"{wet.number}/{dry.number} {wet.unit or dry.unit}".strip()
        case "bench_heat" if len(numbers) == 2:
            return f"opened at {numbers[0].number} {numbers[0].unit or spec.unit}, rated {numbers[1].number}"
        case "temperature" if len(numbers) == 2 and all(i.measures in ("", measured) for i in numbers):
            low, high = sorted((i.number for i in numbers), key=_ohms)
            return f"{low}-{high} {numbers[0].unit or spec.unit}"
    same = [i for i in numbers if i.measures in ("", measured)]
    if len(same) != 1:
        return ""
    return f"{same[0].number} {same[0].unit}".strip()


def step_of(amount: Mapping[str, Any], number: Item, values: Iterable[str]) -> str | None:
    """The first value of a fact whose upper end a number does not pass; None for a unit that the fact is not told in."""
    if number.unit not in ("", amount["unit"], *amount):
        return None
    size = _ohms(number.number) * float(amount.get(number.unit, 1))
    return next((value for value in values if size <= amount.get(value, -1)), None)


def _in_order(texts: list[str], numbers: Sequence[Item], windings: Sequence[Winding]) -> list[str]:
    """Readings of all windings in the order of the file, when one order only fits; else as typed."""
    if len(texts) != len(windings) or any(i.measures not in ("", "ohm") for i in numbers):
        return texts
    ohms = dict(zip(texts, (_ohms(i.number) for i in numbers), strict=True))
    fitting = [
        o for o in permutations(texts) if all(w.low <= ohms[t] <= w.high for t, w in zip(o, windings, strict=True))
    ]
    return list(fitting[0]) if len(fitting) == 1 else texts


def _ohms(number: str) -> float:
    return float(number.rstrip("k").replace(",", "")) * (1000 if number.endswith("k") else 1)


def _dial(numbers: Sequence[Item]) -> str:
    volume = next((i for i in numbers if i.measures == "volume"), None)
    energy = next((i for i in numbers if i.measures == "energy"), None)
    if energy:
        return f"{_ohms(energy.number):.0f} btu/h"
    times = [i for i in numbers if i.measures in ("minutes", "seconds")]
    if volume is None or not times:
        return ""
    after = [i for i in numbers if not i.measures and times[-1].measures == "minutes" and i.at > times[-1].at]
    told = [f"{i.number} {i.unit}" for i in times] + [f"{i.number} s" for i in after[:1]]
    return f"{volume.number} {volume.unit} in {' '.join(told)}"


def shows_otherwise(knowledge: Knowledge, check: str, value: str, outcome: str) -> str:
    """What a reading likely shows, when it is not the outcome that is said beside it; empty when it is, or cannot be judged."""
    from faultodds.job.taking import take_finding

    try:
        likely = take_finding(knowledge, check, value, reading=True).finding.likelihood or {}
    except FaultoddsError:
        return ""
    doubted = outcome in knowledge.check[check].outcomes and likely.get(outcome, 0.0) < LIKELY
    return max(likely, key=lambda each: likely[each]) if likely and doubted else ""
