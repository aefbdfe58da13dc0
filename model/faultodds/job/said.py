"""What a line, or a part of it, means, in the program's own terms."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from itertools import pairwise
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from faultodds.job.clauses import DENIED, SAID, Item, half_done
from faultodds.job.words import Words, grammar, listed, lives

Kind = Literal[
    "finding",
    "fact",
    "tool",
    "hands",
    "command",
    "doubt",
    "machine",
    "ask",
    "repair",
    "undone",
    "unread",
    "excluded",
    "noted",
]


class Said(Struct, frozen=True):
    """`name` and `value` in the program's terms; `text` as it was typed. Of a remark `name` is what is said of it, `value` what
    is not found by it; of a question `value` is the line that a yes stands for, if any."""

    kind: Kind
    name: str
    value: str
    text: str


class Heard(Struct):
    """What a thought says; `unclear` when it turns or doubts what it does not name; `read`: the places of the words it is of."""

    said: list[Said]
    words: int = 0
    text: str = ""
    unclear: bool = False
    doubts: bool = False
    read: frozenset[int] = frozenset()


def together(heard: Sequence[Heard], line: str) -> list[Said]:
    """What the thoughts of a line come to, or an empty list when it is to be asked about."""
    said = [each for h in heard for each in h.said]
    if any(h.doubts and not h.words for h in heard):
        return [Said("doubt", "", "", line)] if not any(h.unclear for h in heard) or not said else []
    if any(h.unclear for h in heard):
        return []
    if contradicted(said):
        return []
    found = {each.name: each.value for each in said if each.kind in _OF_VALUES}
    for each in said:
        if each.kind == "excluded" and found.get(each.name) == each.value:
            return []
    never = {each.value for each in said if each.kind == "noted"}
    said = [replace(each, text=line.strip()) if each.kind == "noted" else each for each in dict.fromkeys(said)]
    taken = [each for each in said if each.kind != "excluded" and f"{each.name}={each.value}" not in never]
    work = [each.name for each in taken if each.kind == "repair"]
    if work and half_done(line):
        return [Said("ask", f"Is all of that done? Nothing was noted. When it is: repair {' / '.join(work)}", "", line)]
    if taken and all(each.kind == "doubt" for each in taken):
        return [Said("doubt", "", "", line)]
    unread = [h.text for h in heard if not h.said and h.text]
    if unread and any(each.kind == "finding" for each in taken) and _goes_on(line, unread):
        rest = f"'{', '.join(unread)}' is not understood and may turn the rest. Nothing was noted: type NAME=OUTCOME."
        return [Said("ask", rest, "", "")]
    return [*taken, Said("unread", ", ".join(unread), "", "")] if taken and unread else taken


def contradicted(said: Sequence[Said]) -> str:
    """The two values of one thing that a line tells, in words, or none: "power off and power on"."""
    found: dict[str, str] = {}
    for each in said:
        if each.kind in _OF_VALUES and (first := found.setdefault(each.name, each.value)) != each.value:
            return f"{each.name} {first} and {each.name} {each.value}"
    return ""


def _goes_on(line: str, unread: Sequence[str]) -> bool:
    """Whether a line goes on, with something that was not understood, in a way that may turn what was found before: "lights, then
    goes out"."""
    _, *behind = re.split(r"\b(?:then|but|until|till)\b", line.casefold(), maxsplit=1)
    words = {word for text in unread for word in text.casefold().split()}
    return any(words & set(re.findall(r"\w+", text)) for text in behind)


def only_what_is_plain(
    words: Words, said: list[Said], items: Sequence[Item], read: Collection[int], line: str
) -> list[Said]:
    """What was heard, or questions in its place where the line may mean something else: the machine may be live, a breaker is no
    plug, what stands behind turns it."""
    plain = with_unplain(words, states_only_where_nothing_lives(said, items, read, line), items, line)
    return all_of_what_turns(plain, items, read, line)


def states_only_where_nothing_lives(
    said: list[Said], items: Sequence[Item], read: Collection[int], line: str
) -> list[Said]:
    """What was heard, or a question in its place where a state of the machine stands beside what is not read and speaks of the
    machine being live, lit, hot or measured: then it may not be as it is said to be."""
    states = [s for s in said if s.kind == "machine"]
    left = alive(items, read, any(s.value == "off" for s in states)) if states else ""
    if not left:
        return said
    if asked := [s for s in said if s.kind == "ask"]:
        return asked
    told = (
        f"'{line.strip()}': what of '{left}'? Nothing was noted. Live, lit, hot, tripping or smelling: hands off, and say so "
        "by itself. If it is not: say how the machine is by itself, such as: unplugged, gas off."
    )
    return [Said("ask", told, "", "")]


def with_unplain(words: Words, said: Sequence[Said], items: Sequence[Item], line: str) -> list[Said]:
    """What was heard, with a question in place of a state of what is no thing of the machine's own (`unplain`): "breaker
    off". What such a one only seems to say (`of`: "power off at the breaker") counts where the words for `enough` stand beside."""
    found = [*said]
    for name, each in words.unplain.items():
        of = each.get("of", "")
        heard = [s for s in found if s.kind == "machine" and (s.name == name or (s.name, s.value) == (of, "off"))]
        if not heard or not any(s.name == name for s in heard) | any(i.has(name) for i in items):
            continue
        value, rest = heard[0].value, [s for s in found if s not in heard]
        if enough := _said_of(items, each.get("enough", ())):
            left = [replace(s, name=_without(s.name, enough)) if s.kind == "unread" else s for s in rest]
            found = [*(s for s in left if s.name), Said("machine", of, value, "")]
        else:
            found = [*rest, Said("ask", each["told"].format(value=value), "", line.strip())]
    return found


def _said_of(items: Sequence[Item], sets: Sequence[str]) -> set[str]:
    """The words, as typed, of the first set of which all are there and none is denied; or none."""
    for names in sets:
        found = [next((i.text for i in items if i.has(n) and i.denied == SAID), "") for n in names.split()]
        if all(found):
            return {*found}
    return set()


def _without(listed: str, words: Collection[str]) -> str:
    return ", ".join(each for each in listed.split(", ") if each not in words)


def all_of_what_turns(said: list[Said], items: Sequence[Item], read: Collection[int], line: str) -> list[Said]:
    """What was heard, or a question in its place where a line goes on with a word that may turn what stands before ("though",
    "until") and not all of it is read: "clean, held water though"."""
    unread = [i for i in items if i.at not in read and not i.has("<aside>")]
    left = [i.text for i in unread if i.text not in _SMALL and i.text not in _TURN_BACK]
    turning = [i.text for i in unread if i.text in _TURN_BACK]
    if not turning or not (left or _UNTIL & {*turning}) or not any(s.kind in (*_OF_VALUES, "repair") for s in said):
        return said
    told = f"'{' '.join(left or turning)}' is not understood and may turn the rest. Nothing was noted: type it part by part."
    return [Said("ask", f"'{line.strip()}': {told}", "", "")]


def alive(items: Sequence[Item], read: Collection[int], off: bool) -> str:
    """The first words that are not `read`, tell of life and do not deny it, or none; `off`: beside what is said to be off or shut,
    where heat, motion and a measured number do so too."""
    # "Back off" is a panel, and "opened up again" one more; else what is back is on.
    opened = any(word.startswith("open") for item in items for word in item.text.split())
    panels = {
        a.at
        for a, b in pairwise([*items, Item(-1, "", frozenset())])
        if a.text in _BACK and (opened or b.text == "off")
    }
    for before, item in pairwise([Item(-1, "", frozenset()), *items]):
        if item.at in {*read, *panels} or before.has("<turn>") or item.denied == DENIED:
            continue
        amount = float(re.sub(r"[,k]", "", item.number)) if off and item.measures not in ("", *_TIMES) else 0.0
        if amount or any(lives(word, off) for word in item.text.split()):
            return item.text
    return ""


_BACK = ("back", "again", "back up")
_SMALL = frozenset(listed(grammar()["small"]["words"]))
_UNTIL = frozenset(listed(grammar()["turns_back"]["until"]))
_TURN_BACK = frozenset(listed(grammar()["turns_back"]["words"])) | _UNTIL
_OF_VALUES = ("finding", "fact", "machine")
_TIMES = ("minutes", "seconds", "hours", "years", "months", "weeks")
