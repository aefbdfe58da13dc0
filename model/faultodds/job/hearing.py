"""What a typed line means, by the words of the trade: parts and their states, denied or not, readings, work done.

A line is taken thought by thought (`clauses`); in each the largest sets of words that mean something together count (`words`).
Half a meaning is none: a "no", a doubt or a plan that belongs to nothing, or two meanings as likely, and the line is asked about.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from itertools import pairwise, permutations
from typing import TYPE_CHECKING

from msgspec import Struct

from faultodds.job.clauses import DENIED, SAID, UNCLEAR, Clause, Item, clauses
from faultodds.job.said import Said
from faultodds.job.words import ROLES, Part, Rule, Words, grammar, listed, words_of
from faultodds.knowledge import Knowledge

if TYPE_CHECKING:
    from faultodds.readings import Winding


# More unknown words than this for every one that is understood, and a thought is not understood.
UNKNOWN = 2.0
# With so many words of one meaning, thoughts that are unclear by themselves are one.
SURE = 3
# A bare number up to here may count things ("all 4 rollers").
COUNTS = 20


class Fit(Struct, frozen=True):
    """A rule that a thought fulfils, with the items that it uses."""

    rule: Rule
    used: tuple[Item, ...]

    @property
    def places(self) -> frozenset[int]:
        """Where in the line its items are."""
        return frozenset(item.at for item in self.used)


class Heard(Struct):
    """What a thought says; `unclear` when it turns or doubts what it does not name."""

    said: list[Said]
    words: int = 0
    text: str = ""
    unclear: bool = False
    doubts: bool = False


def hear_line(knowledge: Knowledge, line: str, is_there: Callable[[str, str, str], bool]) -> list[Said]:
    """Everything that a line says, or an empty list when it is to be asked about.

    `is_there` says whether a meaning (kind, name, value) is one of the knowledge file's.
    """
    words = words_of(knowledge.appliance.id)
    if words is None or "=" in line or "_" in line or _ASKS.match(line.strip().casefold().replace("'", "")):
        return []
    hearer = _Hearer(knowledge, words, is_there)
    thoughts = clauses(words, line)
    heard = [*hearer.thoughts(thoughts)]
    if len(thoughts) > 1 and not any(h.doubts for h in heard) and not _together(heard, line):
        whole = hearer.thought([item for t in thoughts for piece in t for item in piece], [])
        if len(whole.said) == 1 and (whole.words >= SURE or not any(h.unclear for h in heard)):
            heard = [whole]
    return _together(heard, line)


def _together(heard: Sequence[Heard], line: str) -> list[Said]:
    said = [each for h in heard for each in h.said]
    if any(h.doubts and not h.words for h in heard):
        return [Said("doubt", "", "", line)] if not any(h.unclear for h in heard) or not said else []
    if any(h.unclear for h in heard):
        return []
    found: dict[str, str] = {}
    for each in said:
        if each.kind in ("finding", "fact", "machine") and found.setdefault(each.name, each.value) != each.value:
            return []
    for each in said:
        if each.kind == "excluded" and found.get(each.name) == each.value:
            return []
    taken = [each for each in dict.fromkeys(said) if each.kind != "excluded"]
    unread = [h.text for h in heard if not h.said and h.text]
    return taken + [Said("unread", ", ".join(unread), "", "")] if taken and unread else taken


class _Hearer:
    def __init__(self, knowledge: Knowledge, words: Words, is_there: Callable[[str, str, str], bool]) -> None:
        self.knowledge = knowledge
        self.words = words
        self.is_there = is_there

    def thoughts(self, thoughts: Sequence[Sequence[Clause]]) -> Iterator[Heard]:
        """Each thought as a whole, or in its pieces when all of these say something."""
        nouns: Clause = []
        open_end = False  # whether a denial may go on behind the comma: "no lint, nest or kinks"
        for pieces in thoughts:
            whole = [item for piece in pieces for item in piece]
            if open_end and _may_be_listed(whole):
                yield Heard([], unclear=True)
                continue
            last = next((i for i in reversed(whole) if i.names), None)
            open_end = last is not None and last.denied != SAID
            one = self.thought(whole, nouns)
            parts = [self.thought(piece, nouns if n == 0 else self._nouns(whole)) for n, piece in enumerate(pieces)]
            split = len(parts) > 1 and all(p.said and not p.unclear for p in parts)
            if split and (one.unclear or not one.said or sum(p.words for p in parts) > one.words):
                yield from parts
            elif len(parts) > 1 and not one.said and self._some_say(pieces, parts):
                yield from parts
            else:
                yield one
            nouns = self._nouns(whole) or nouns

    def _some_say(self, pieces: Sequence[Clause], parts: Sequence[Heard]) -> bool:
        """Whether some pieces say something, and what the others speak of is something else."""
        told = {n for piece, p in zip(pieces, parts, strict=True) if p.said for i in piece for n in i.names}
        rest = {n for piece, p in zip(pieces, parts, strict=True) if not p.said for i in piece for n in i.names}
        return bool(told) and not any(p.unclear for p in parts) and not told & rest & self.words.nouns

    def _nouns(self, items: Iterable[Item]) -> Clause:
        return [i for i in items if i.names & self.words.nouns and not i.has("dryer") and i.denied == SAID]

    def thought(self, items: Clause, before: Clause) -> Heard:
        """What one thought says; `before` are the parts spoken of just before, for one that names none."""
        if not self._nouns(items) and not any(i.has("dryer") and i.denied for i in items):
            items = [*(i for i in before if i.at not in {j.at for j in items}), *items]
        own = [i for i in items if i not in before]
        if gone := self._tools_gone(own):
            return Heard([Said("tool", name, "", "") for name in gone], len(own))
        fits, torn = _best(f for f in self._fits(items, own) if f.rule.kind == "repair" or not any(i.has("advised") for i in own))
        doubts = any(_doubts(a, b) for a, b in pairwise([*own, Item(-1, "", frozenset())]))
        if any(i.has("<report>") for i in own) and any(f.rule.meaning.split("=")[0] not in self.knowledge.symptom for f in fits):
            doubts = True
        content = [i for i in own if i.names - _ROLES and not i.has("<turn>", "<turn_end>")]
        if doubts:
            return Heard([Said("doubt", "", "", "")] if content else [], len(content), doubts=True)
        work = [f for f in fits if f.rule.kind == "repair"]
        left_out = any(i.denied == DENIED and i.names & self.words.verbs for i in own) and not fits
        if any(i.has("<plan>") for i in own) or left_out or any(i.denied for f in work for i in f.used):
            return self._not_done(items, own, work)
        if torn:
            return Heard([self._which(torn, own)])
        return self._taken(fits, items, own)

    # --- what stands in the way ---

    def _taken(self, fits: Sequence[Fit], items: Clause, own: Clause) -> Heard:
        all_used = [i for f in fits for i in f.used]
        used = {i.at for i in all_used} | {i.turned_by for i in all_used if i.turned_by >= 0}
        if any(f.rule.kind == "reading" for f in fits):
            used |= {i.at for i in own if i.number}
        left = [i for i in own if i.at not in used and not any(self._repeats(i, u) for u in all_used)]
        if any(f.rule.kind == "reading" and _bare(f) for f in fits) and any(self._is_state(i) for i in left):
            return Heard([], unclear=True)  # "limit opens at 150": 150 what?
        kinds = {f.rule.kind for f in fits}
        text = " ".join(i.text for i in own)
        if kinds == {"repair"} and any(i.has("advised") for i in own):
            left = []
        if "repair" not in kinds and any(i.has("removed") for i in left):
            return Heard([], text=text)  # what was taken off is there no more
        if any(self._turns(i, bool(fits), "repair" in kinds) for i in left):
            return Heard([], unclear=True)
        if kinds & {"repair", "machine"} and any(i.has("<somebody>") for i in left) and not any(i.has("advised") for i in own):
            return Heard([], unclear=True)
        known = sum(len(i.text.split()) for i in items if i.at in used)
        unknown = [i for i in left if not i.names and not i.number and i.text not in _SMALL]
        if not fits or len(unknown) > (UNKNOWN * known if len(all_used) > 1 else all(not i.number for i in all_used)):
            return Heard([], text=text if any(i.names - _ROLES or i.number for i in own) else "")
        said = [each for f in sorted(fits, key=lambda f: min(f.places)) for each in self._meant(f, items)]
        return Heard(said, len(used))

    def _turns(self, item: Item, read: bool, work: bool) -> bool:
        """Whether a word that no meaning used may turn what was said into something else."""
        if item.has("<turn>", "<hedge>") or (item.denied == UNCLEAR and item.names - _ROLES):
            return True
        if item.number:
            small = item.number.isdigit() and int(item.number) <= COUNTS
            return read and (item.at == 0 or not small) and item.measures not in ("minutes", "seconds", "hours")
        if item.has("<aside>"):
            return False
        if item.names == {"<missing>"} or item.names & _ORDER:
            return read
        inner = item.text.split()
        if len(inner) > 1 and any(w in _TURNING for w in inner):
            return True
        if work and item.has("handled"):
            return True  # "did the igniter test"
        if item.names & self.words.verbs and not item.names - self.words.verbs - _ROLES:
            return read and not work
        return read and bool(item.names & self.words.nouns) and not item.placed and not item.names & _NEUTRAL

    def _repeats(self, item: Item, used: Item) -> bool:
        """Whether an item says once more what another one said; of parts only the word beside it."""
        same = (item.names - _ROLES) & used.names
        return bool(same - self.words.nouns or (same and abs(item.at - used.at) <= 2)) and item.denied == used.denied

    def _is_state(self, item: Item) -> bool:
        return bool(item.names - _ROLES - self.words.nouns - self.words.verbs) and item.text not in _SMALL

    def _not_done(self, items: Clause, own: Clause, work: Sequence[Fit]) -> Heard:
        """Work that is planned, refused or left out; what else such a thought tells of is not taken."""
        named = [f.rule.meaning for f in work if not any(i.denied for i in f.used)]
        verbs = [i for i in own if i.names & self.words.verbs]
        refused = [f.rule.meaning for f in work if any(i.denied for i in f.used)]
        parts = self._nouns(own) or (self._nouns(items) if verbs else [])
        planned = any(i.has("<plan>") for i in own)
        if not parts and not named and not refused:
            return Heard([])
        done = [] if planned else [Said("repair", n, "", "") for n in named]
        names = ", ".join(dict.fromkeys([*refused, *(named if planned else [])]))
        return Heard([*done, Said("undone", names, "", " ".join(i.text for i in own))], len(own))

    def _which(self, torn: Sequence[Fit], own: Clause) -> Said:
        listed_ = " or ".join(dict.fromkeys(_called(f.rule) for f in torn))
        return Said("ask", f"'{' '.join(i.text for i in own)}': {listed_}? Type the one that is meant.", "", "")

    def _tools_gone(self, own: Clause) -> list[str]:
        tools = [i for i in own if i.names & self.words.tools]
        rest = [i for i in own if not i.names & self.words.tools]
        missing = [i for i in own if i.has("<missing>", "<turn>")]
        other = [i for i in rest if (i.names & self.words.nouns and not i.has("dryer")) or i.number or i.has("<plan>", "<doubt>")]
        other += [i for i in rest if self._is_state(i) and not i.has("<missing>")]
        if not tools or not missing or other or any(_is_back(i) for i in rest):
            return []
        first = min(i.at for i in missing)
        alone = len(tools) == 1 or all(t.denied == DENIED or t.at > first for t in tools)
        turned = [t for t in tools if t.denied == SAID and any(m.has("<turn>") and m.at > t.at for m in missing)]
        plain = [m for m in missing if m.denied == DENIED and not m.has("<turn>")]
        if not alone or plain or (turned and not any(m.has("<missing>") and not m.has("<turn>") for m in missing)):
            return []
        return [next(iter(sorted(t.names & self.words.tools))) for t in tools]

    # --- what fits ---

    def _fits(self, items: Clause, own: Clause) -> Iterator[Fit]:
        mine = {i.at for i in own}
        for rule in self._rules():
            used = _used(rule.parts, items)
            if used and any(i.at in mine for i in used) and (rule.kind != "repair" or _one_denial(used)):
                yield Fit(rule, used)
            if rule.kind == "repair" and used:  # "coils and igniter": one verb for both
                continue

    def _rules(self) -> Iterator[Rule]:
        for rule in self.words.rules:
            yield rule
            yield from self._turned(rule)
            if rule.kind == "repair":
                yield from (Rule(rule.kind, rule.meaning, p) for p in _denials(rule.parts))

    def _turned(self, rule: Rule) -> Iterator[Rule]:
        """Of two outcomes the denial of one is the other."""
        name, _, value = rule.meaning.partition("=")
        if rule.kind != "finding" or " " in rule.meaning or name not in self.knowledge.observables():
            return
        others = [o for o in self.knowledge.observables()[name].outcomes if o != value]
        states = [n for n, p in enumerate(rule.parts) if p.names and not set(p.names) & self.words.nouns]
        if len(states) != 1 or any(p.denied or p.optional for p in rule.parts):
            return
        parts = list(rule.parts)
        parts[states[0]] = parts[states[0]]._replace(denied=True)
        if len(others) == 1:
            yield Rule("finding", f"{name}={others[0]}", tuple(parts))
        else:
            yield Rule("excluded", rule.meaning, tuple(parts))

    def _meant(self, fit: Fit, items: Clause) -> Iterator[Said]:
        kind, meaning = fit.rule.kind, fit.rule.meaning
        if kind == "excluded":
            name, _, value = meaning.partition("=")
            yield Said("excluded", name, value, "")
        elif kind == "reading":
            value = self._value(meaning, fit, items)
            if value and self.is_there("finding", meaning, ""):
                yield Said("finding", meaning, value, value)
        elif kind == "amount":
            yield from self._amount(meaning, fit, items)
        elif kind == "repair":
            yield Said("repair", meaning, "", "")
        else:
            for each in meaning.split():
                name, _, value = each.partition("." if kind == "machine" else "=")
                if self.is_there(kind, name, value):
                    yield Said("machine" if kind == "machine" else "fact" if kind == "fact" else "finding", name, value, "")

    def _amount(self, name: str, fit: Fit, items: Clause) -> Iterator[Said]:
        amount = self.words.amounts[name]
        others = any(i.at not in fit.places and not i.has("dryer") for i in self._nouns(items))
        if others or sum(bool(i.number) for i in items) != 1:
            return  # the age of something else; which of two
        number = next(i for i in fit.used if i.number)
        if number.unit not in ("", amount["unit"], *amount):
            return
        size = _ohms(number.number) * (amount[number.unit] if number.unit in amount else 1)
        facts: Mapping[str, object] = {**self.knowledge.context, **self.knowledge.observables()}
        values = getattr(facts.get(name), "values", None) or getattr(facts.get(name), "outcomes", {})
        steps: list[tuple[str, float]] = [(n, top) for n, top in amount.items() if n in values]
        value = next((n for n, top in steps if size <= top), None)
        kind = "finding" if name in self.knowledge.observables() else "fact"
        if value and self.is_there(kind, name, value):
            yield Said("finding" if kind == "finding" else "fact", name, value, "")

    def _value(self, name: str, fit: Fit, items: Clause) -> str:
        """A reading in the words that `readings` knows."""
        spec = self.knowledge.reading.get(name)
        if spec is None:
            return ""
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
        same = [i for i in numbers if i.measures in ("", fit_unit(fit))]
        if len(same) != 1:
            return ""
        return f"{same[0].number} {same[0].unit or spec.unit if same[0].unit != 'F' or spec.unit == 'F' else 'F'}".strip()


def fit_unit(fit: Fit) -> str:
    """What the number of a rule measures."""
    return next((p.unit for p in fit.rule.parts if p.unit is not None), "")


def _in_order(texts: list[str], numbers: Sequence[Item], windings: Sequence[Winding]) -> list[str]:
    """Readings of all windings in the order of the file, when one order only fits; else as typed."""
    if len(texts) != len(windings) or any(i.measures not in ("", "ohm") for i in numbers):
        return texts
    ohms = dict(zip(texts, (_ohms(i.number) for i in numbers), strict=True))
    fitting = [o for o in permutations(texts) if all(w.low <= ohms[t] <= w.high for t, w in zip(o, windings, strict=True))]
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


def _best(fits: Iterable[Fit]) -> tuple[list[Fit], list[Fit]]:
    """The fits with the most words, none of which shares a word with a larger one; and those that cannot be told apart."""
    kept: list[Fit] = []
    for fit in sorted(fits, key=lambda f: -len(f.used)):
        sharing = [k for k in kept if _share(k, fit)]
        if any(len(k.used) > len(fit.used) for k in sharing):
            continue
        if not any(k.rule.meaning == fit.rule.meaning and k.places == fit.places for k in kept):
            kept.append(fit)
    torn = [
        a for a in kept if any(_share(a, b) and a.rule.meaning != b.rule.meaning and len(a.used) == len(b.used) for b in kept)
    ]
    return kept, torn


def _share(a: Fit, b: Fit) -> bool:
    """Whether two fits use one word for different things; work shares its verb with other work, "not kinked" its part with "ok"."""
    shared = a.places & b.places
    if (a.rule.kind == "excluded") != (b.rule.kind == "excluded"):
        return bool({i.at for i in a.used if i.turned_by >= 0} & {i.at for i in b.used if i.turned_by >= 0})
    if a.rule.kind == b.rule.kind == "repair":
        return bool(shared - {i.at for i in a.used if _is_verb(i)})
    return bool(shared)


def _bare(fit: Fit) -> bool:
    return all(not i.measures for i in fit.used if i.number)


def _is_verb(item: Item) -> bool:
    return bool(item.names & _VERBS)


def _used(parts: Sequence[Part], items: Clause) -> tuple[Item, ...]:
    used: list[Item] = []
    for part in parts:
        found = next((i for i in items if i not in used and _is(part, i)), None)
        if found is not None:
            used.append(found)
        elif not part.optional:
            return ()
    return tuple(used)


def _is(part: Part, item: Item) -> bool:
    if part.unit is not None:
        units = part.unit.split("|")
        fits = item.measures in (*units, "") if part.bare else item.measures in units
        return bool(item.number) and item.denied == SAID and (not part.unit or fits)
    if part.denied and not part.names:
        return item.has("<turn>")
    return item.denied == (DENIED if part.denied else SAID) and item.has(*part.names)


def _denials(parts: Sequence[Part]) -> Iterator[tuple[Part, ...]]:
    for n, part in enumerate(parts):
        if part.names:
            yield tuple(p._replace(denied=True) if i == n else p for i, p in enumerate(parts))


def _one_denial(used: Iterable[Item]) -> bool:
    return sum(i.denied == DENIED for i in used) <= 1


def _may_be_listed(items: Clause) -> bool:
    """Whether a thought is a bare thing, that the "no" of the thought before may go on to."""
    return len([i for i in items if i.names]) == 1 and all(i.names or i.text in _SMALL or i.text == "or" for i in items)


def _doubts(item: Item, following: Item) -> bool:
    return item.text == "?" or (item.has("<doubt>") and not (item.has("<approx>") and bool(following.number)))


def _is_back(item: Item) -> bool:
    return item.text in ("found", "got", "fixed", "working", "again", "after all", "new", "sorted", "back")


def _called(rule: Rule) -> str:
    return {"repair": f"repair {rule.meaning}", "machine": rule.meaning.replace(".", " ")}.get(rule.kind, rule.meaning)


_ROLES = frozenset(f"<{role}>" for role in ROLES)
_VERBS = frozenset({"new", "cleaned", "mended", "refitted", "removed", "advised", "handled", "referred"})
_ASKS = re.compile(rf"(?:{'|'.join(listed(grammar()['question']['words']))})\b")
_ORDER = frozenset({"first", "later", "atfirst"})
_NEUTRAL = frozenset({"dryer", "gas", "room", "cycle", "drum"})
_TURNING = frozenset(listed(grammar()["turn"]["words"]))
_SMALL = frozenset(
    "a an the is are be been its it it's to of in on at and or with for from by this that there here up all now right my"
    " i im ive he she they we you me them his her their so as just like very really pretty real still out off down over"
    " when while every each some any got get gets go goes went does do did has have had was were then back too looks look"
    " looking reads read reading shows showing seeing see saw".split()
)
