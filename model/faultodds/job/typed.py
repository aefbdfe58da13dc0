"""A line as a technician types it, taken apart into names and what they showed.

"2 weak", "ig oh open", "coil_ohms 1.15k", "hood_flap weak 70 / strong 30", "1=2 heat=none": numbers stand
for what is on the screen, names may be shortened, and the value may have several words.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Mapping, Sequence

from msgspec import Struct

from faultodds.errors import FaultoddsError, UnknownName
from faultodds.knowledge import ContextFact, EquipmentFact, Knowledge
from faultodds.names import LONGEST_LINE, fold, match
from faultodds.safety import hazard_of, only_denies

# A name this close to a stop sign's is taken for it.
CLOSE = 0.85
OF_ANYTHING = frozenset(
    {
        "yes",
        "no",
        "none",
        "normal",
        "good",
        "bad",
        "ok",
        "fine",
        "open",
        "closed",
        "shut",
        "off",
        "on",
        "low",
        "high",
        "dead",
    }
    | {"sound", "clear", "clean", "work", "works", "level", "slow", "dry"}
)
_NEXT_PAIR = re.compile(r"[\s,;]+(?=[\w.-]+\s*=)")


class Typed(Struct, frozen=True):
    """One name of a symptom or check, and what was typed for it ("" when nothing was)."""

    name: str
    value: str


def findings(knowledge: Knowledge, line: str, numbered: Sequence[str] = ()) -> list[Typed]:
    """The findings on one line.

    `numbered`: what 1, 2, 3 ... stand for. Raises UnknownName for what is no finding.
    """
    return [_finding(knowledge, part, numbered) for part in parts(line)]


def is_called(knowledge: Knowledge, line: str) -> bool:
    """Whether a line is a symptom's or check's name or title and nothing else, whatever "no" is in it: "does not start"."""
    return any(fold(line) in (fold(name), fold(seen.title)) for name, seen in knowledge.observables.items())


def parts(line: str) -> list[str]:
    """The NAME=VALUE on a line, one by one; the whole line when there is at most one."""
    if len(line) > LONGEST_LINE:
        raise FaultoddsError(
            f"'{line[:20]} ...' is {len(line):,} characters long; a line has {LONGEST_LINE:,} at most. "
            "Nothing of it was taken. Type one finding a line, for example dry_time=longer."
        )
    split = _NEXT_PAIR.split(line.strip()) if line.count("=") > 1 else [line.strip()]
    return [part for part in split if part]


def numbers_between(line: str, places: int) -> list[str]:
    """The parts of a line as `parts` gives them, where numbers of the list stand before or behind a NAME=VALUE each by itself:
    "heat=none 11" is two."""
    words = re.split(r"[\s,;]+", line.strip(" ,;"))
    alone = [is_place(word) and 1 <= int(word) <= places for word in words]
    if (
        "=" in line
        and any(alone)
        and all(a or re.fullmatch(r"[^=]+=[^=]+", w) for a, w in zip(alone, words, strict=True))
    ):
        return words
    return parts(line)


def only_outcome(knowledge: Knowledge, text: str, known: Callable[[str], bool]) -> Typed | None:
    """The finding that a bare outcome ("crushed") stands for, when only one symptom or check not `known` yet has it.

    A word that could be said of anything ("good", "open") stands for nothing.
    """
    wanted = fold(text)
    fitting = [
        Typed(name, outcome)
        for name, observable in knowledge.observables.items()
        for outcome, words in observable.outcomes.items()
        if wanted in (fold(outcome), fold(words)) and wanted not in OF_ANYTHING and not known(name)
    ]
    return fitting[0] if len(fitting) == 1 else None


def _finding(knowledge: Knowledge, text: str, numbered: Sequence[str]) -> Typed:
    head, sign, tail = text.partition("=")
    if sign:
        name = observable(knowledge, head.strip(), numbered, tail.strip())
        return Typed(name, value_of(knowledge, name, tail.strip()))
    words = text.split()
    problem: UnknownName | None = None
    # The longest beginning that is a name wins, so that "thermal fuse open" is not "thermal".
    for count in range(len(words), 0, -1):
        try:
            name = observable(knowledge, " ".join(words[:count]), numbered)
        except UnknownName as error:
            # Of several complaints the one about the first word is the one that helps.
            problem = error
            continue
        return Typed(name, value_of(knowledge, name, " ".join(words[count:]).lstrip(": ")))
    assert problem is not None
    raise problem


def is_outcome(knowledge: Knowledge, each: Typed) -> bool:
    """Whether the value is an outcome in full, by its name, its words or their beginning, and the name was all before it."""
    outcomes = knowledge.observables[each.name].outcomes
    value = fold(each.value)
    return bool(value) and any(
        fold(o) == value or fold(w) == value or fold(o).endswith(f"_{value}") for o, w in outcomes.items()
    )


def observable(knowledge: Knowledge, text: str, numbered: Sequence[str] = (), value: str = "") -> str:
    """The symptom or check that a number on the screen or a name stands for, as `named` says."""
    return by_number("line", text, numbered) if is_place(text) else named(knowledge, text, value)


def named(knowledge: Knowledge, text: str, value: str = "", next_step: str = "") -> str:
    """The symptom or check that a name stands for; of several that it fits, the one that can show a `value` ("flame=yellow")."""
    known = knowledge.observables
    try:
        return match("symptom or check", text, known, {n: o.title for n, o in known.items()}, next_step)
    except UnknownName:
        begins = [n for n in known if fold(text) and fold(n).startswith(fold(text))]
        showing = [n for n in begins if fold(value) in map(fold, known[n].outcomes)]
        if len(showing) != 1:
            raise
        return showing[0]


def value_of(knowledge: Knowledge, name: str, text: str) -> str:
    """What was typed for a value, a number standing for the outcome in that place unless the check is read
    with a meter."""
    outcomes = list(knowledge.observables[name].outcomes)
    if is_place(text) and name not in knowledge.reading:
        return by_number(f"outcome of '{name}'", text, outcomes)
    return text


def is_place(text: str) -> bool:
    """Whether a text is a number that somebody counts by: plain digits, and not thousands of them."""
    return text.isascii() and text.isdigit() and len(text) <= 9


def by_number(kind: str, text: str, names: Sequence[str]) -> str:
    """The name in the place that `text` says, counted from 1; raises UnknownName beyond the end."""
    place = int(text)
    if not 1 <= place <= len(names):
        allowed = f"1 to {len(names)}" if names else "none: nothing is numbered now"
        raise UnknownName(f"there is no {kind} {text}. Known: {allowed}. Type a number on the screen, or a name.")
    return names[place - 1]


def stop_sign_named(knowledge: Knowledge, text: str) -> str | None:
    """The stop sign that `text` names, in full or with a letter or two wrong: a slip is no all-clear, a plain denial is one."""
    if only_denies(text):
        return None
    signs = {name: name for name in knowledge.stop} | {fold(s.title): n for n, s in knowledge.stop.items()}
    import difflib

    close = difflib.get_close_matches(fold(text), list(signs), n=1, cutoff=CLOSE)
    return signs[close[0]] if close else None


def stop_sign_in(knowledge: Knowledge, line: str) -> str | None:
    """The stop sign that a line speaks of ("smell gas", "there is smoke"), or None.

    A line speaks of a sign when it holds every part of the sign's name, or one of the things its title
    lists. It is a reason to ask, not yet a stop. Signs of gas, carbon monoxide, illness and fire are left to `safety.hear`.
    """
    words = fold(line).split("_")
    signs = {n: s for n, s in knowledge.stop.items() if hazard_of(n, s.title) is None}
    named = stop_sign_named(knowledge, line)
    if named is not None:
        return named
    for name, stop in signs.items():
        if all(any(w == part or (len(part) > 3 and w.startswith(part)) for w in words) for part in name.split("_")):
            return name
        listed = [fold(thing).split("_") for thing in re.split(r",| or ", stop.title)]
        if any(_together(thing, words) for thing in listed if thing != [""]):
            return name
    return None


def _together(thing: Sequence[str], words: Sequence[str]) -> bool:
    return any(list(words[i : i + len(thing)]) == list(thing) for i in range(len(words)))


def work(knowledge: Knowledge, text: str, numbered: Sequence[str] = ()) -> tuple[str, str]:
    """A check or repair at the beginning of `text`, and the rest of it; raises UnknownName when there is
    none."""
    words = text.split()
    known = {**knowledge.check, **knowledge.repair}
    titles = {n: w.title for n, w in known.items()}
    for count in range(len(words), 0, -1):
        if (full := fold(" ".join(words[:count]))) in known:
            return full, " ".join(words[count:])
    for count in range(len(words), 1, -1):
        with contextlib.suppress(UnknownName):
            return match("check or repair", " ".join(words[:count]), known, titles), " ".join(words[count:])
    first = words[0] if words else ""
    name = by_number("line", first, numbered) if is_place(first) else match("check or repair", first, known, titles)
    return name, " ".join(words[1:])


def asked(knowledge: Knowledge) -> dict[str, ContextFact | EquipmentFact]:
    """Every fact asked at intake: what the machine has, then what surrounds it."""
    return {**knowledge.equipment, **knowledge.context}


def facts(knowledge: Knowledge, line: str) -> list[tuple[str, str]]:
    """The NAME=VALUE pairs on one line, a number standing for the value in that place.

    Raises FaultoddsError for what is no such pair.
    """
    parts = [p.partition("=") for p in _NEXT_PAIR.split(line.strip())]
    if not all(sign and name.strip() and value.strip() for name, sign, value in parts):
        some = next(iter(asked(knowledge).items()), None)
        example = f", for example {some[0]}={next(iter(some[1].values))}" if some else ""
        raise FaultoddsError(f"'{line.strip()}': write NAME=VALUE{example}.")
    return [_fact(knowledge, name.strip(), value.strip()) for name, _, value in parts]


def _fact(knowledge: Knowledge, name: str, value: str) -> tuple[str, str]:
    known = asked(knowledge)
    fact = match("fact", name, known, {n: f.ask for n, f in known.items()})
    return fact, fact_value(known[fact].values, value)


def fact_value(values: Mapping[str, str], text: str) -> str:
    """A value of a fact typed as its number in the list or by name."""
    return by_number("answer", text, list(values)) if is_place(text) else text


def reading_again(first: str, answer: str) -> list[str]:
    """The readings that `answer` may complete `first` to, likeliest first: "k" after "1.15", "72F" after
    "9.2k"."""
    answer = answer.strip()
    if not any(c.isdigit() for c in answer):
        # A bare unit: put it behind the number, before a room temperature if one was given.
        number, sign, rest = first.partition(" at ")
        joined = f"{number.strip()} {answer}" + (f" at {rest}" if sign else "")
        return [joined, answer]
    return [answer, f"{first} at {answer}"]
