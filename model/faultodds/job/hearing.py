"""What a typed line means, by the words of the trade: parts and their states, denied or not, readings, work done.

A line is taken thought by thought (`clauses`); in each the largest sets of words that mean something together count (`words`).
Half a meaning is none: a "no", a doubt or a plan that belongs to nothing, or two meanings as likely, and the line is asked about.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise

from faultodds.job.amounts import reading_text, shows_otherwise, step_of
from faultodds.job.clauses import DENIED, SAID, UNCLEAR, Clause, Item, clauses
from faultodds.job.fits import Fit, any_rule, best, called, fitting_of, left_of_machine, outcomes_of, used_by
from faultodds.job.said import Heard, Kind, Said, only_what_is_plain, together
from faultodds.job.words import ROLES, Rule, Words, grammar, listed, words_of
from faultodds.knowledge import Knowledge
from faultodds.names import LONGEST_LINE
from faultodds.safety import only_denies

# More unknown words than this for every one that is understood, and a thought is not understood.
UNKNOWN = 2.0
# With so many words of one meaning, thoughts that are unclear by themselves are one.
SURE = 3
# A bare number up to here may count things ("all 4 rollers").
COUNTS = 20


IsThere = Callable[[str, str, str], bool]


def hear_line(knowledge: Knowledge, line: str, is_there: IsThere) -> list[Said]:
    """Everything that a line says, or an empty list when it is to be asked about.

    `is_there` says whether a meaning (kind, name, value) is one of the knowledge file's.
    """
    words = words_of(knowledge.appliance.id)
    if words is None:
        return []
    return Hearer(knowledge, words, is_there).line(line)


class Hearer:
    """Hears lines with one set of words, by those of their rules that are `wanted`."""

    def __init__(
        self, knowledge: Knowledge, words: Words, is_there: IsThere, wanted: Callable[[Rule], bool] = any_rule
    ) -> None:
        self.knowledge, self.words, self.is_there = knowledge, words, is_there
        self.fitting = fitting_of(words, outcomes_of(knowledge), wanted)

    def line(self, line: str) -> list[Said]:
        """Everything that a line says, or an empty list when it is to be asked about."""
        if len(line) > LONGEST_LINE or {*"=_"} & {*line} or _ASKS.match(line.strip().casefold().replace("'", "")):
            return []
        thoughts = clauses(self.words, line)
        items = [item for thought in thoughts for piece in thought for item in piece]
        heard = self.thoughts(thoughts)
        if len(thoughts) > 1 and not any(h.doubts for h in heard) and not together(heard, line):
            whole = self.thought(items, [])
            one = ";" not in line and len(set(whole.said)) == 1
            if one and (whole.words >= SURE or not any(h.unclear for h in heard)):
                heard = [whole]
        read = {at for h in heard for at in h.read}
        return self._of_each(only_what_is_plain(self.words, together(heard, line), items, read, line), items, line)

    def _of_each(self, said: list[Said], items: Clause, line: str) -> list[Said]:
        """A question in place of what was heard of the machine, where the line speaks of more: "power and gas off"."""
        states = [s for s in said if s.kind == "machine"]
        heard = {f"{s.name}.{s.value}" for s in states}
        shuts = sorted(str(a.makes_safe) for a in self.knowledge.access.values() if a.makes_safe)
        of_it = {s.kind for s in said} - {"unread"} == {"machine"}
        if not of_it or not left_of_machine(self.fitting.rules, self.words, heard, shuts, items):
            return said
        say = {str(u["of"]): str(u["say"]) for u in self.words.unplain.values() if "of" in u}
        each = ", ".join(say.get(n, f"{n} off") for n in dict.fromkeys([*(s.name for s in states), *shuts, "front"]))
        return [Said("ask", f"'{line.strip()}': say how each is, such as {each}.", "", "")]

    def items(self, line: str) -> Clause:
        """The words of a line, with what each may stand for and whether it is denied."""
        return [item for thought in clauses(self.words, line) for piece in thought for item in piece]

    def thoughts(self, thoughts: Sequence[Sequence[Clause]]) -> list[Heard]:
        """What each thought says; two that say nothing by themselves may be one ("glows, but no flame")."""
        heard: list[Heard] = []
        before: Clause = []  # the thought before, when it said nothing
        nouns: Clause = []
        for n, pieces in enumerate(thoughts):
            whole = [item for piece in pieces for item in piece]
            now = self._after(whole, thoughts[n - 1], heard) if n else []
            now = now or self._pieces(pieces, whole, nouns)
            if not any(h.said for h in now) and only_denies(" ".join(item.text for item in whole)):
                continue  # "..., no smoke" beside what was found
            silent = not any(h.said or h.doubts for h in now)
            # Two thoughts are never taken for one where there is a word that nobody knows.
            if silent and before and all(i.names or i.number or i.text in _SMALL for i in [*before, *whole]):
                both = self.thought([*before, *whole], [])
                if len(set(both.said)) == 1 and not both.unclear and not both.doubts:
                    now, silent = [both], False
                    heard.pop()
            heard += now
            before = whole if silent and len(now) == 1 else []
            nouns = self._nouns(whole) or nouns
        return heard

    def _after(self, whole: Clause, last: Sequence[Clause], heard: Sequence[Heard]) -> list[Heard]:
        """What a thought that only goes on with the one before says: "swapped coils but not igniter", "no lint, nest or kinks"."""
        work = any(s.kind == "repair" for s in heard[-1].said) if heard else False
        if work and all(i.has("<turn>") or (i.denied == DENIED and i.names & self.words.nouns) for i in whole):
            return [Heard([Said("undone", "", "", " ".join(i.text for i in whole))], len(whole))]
        ending = next((i for piece in reversed(last) for i in reversed(piece) if i.names), None)
        if ending is not None and ending.denied != SAID and _may_be_listed(whole):
            return [Heard([], unclear=True)]
        return []

    def _pieces(self, pieces: Sequence[Clause], whole: Clause, nouns: Clause) -> list[Heard]:
        """A thought as a whole, or in its pieces when all of these say something."""
        if len(pieces) > 1 and any(_only_doubts(piece) for piece in pieces):
            return [Heard([], doubts=True)]  # "hood weak, not sure and ..."
        one = self.thought(whole, nouns)
        parts = [self.thought(piece, nouns if n == 0 else self._nouns(whole)) for n, piece in enumerate(pieces)]
        split = len(parts) > 1 and all(p.said and not p.unclear for p in parts)
        better = split and (one.unclear or not one.said or sum(p.words for p in parts) > one.words)
        if better or (len(parts) > 1 and not one.said and self._some_say(pieces, parts)):
            return parts
        return [one]

    def _some_say(self, pieces: Sequence[Clause], parts: Sequence[Heard]) -> bool:
        """Whether some pieces say something, and what the others speak of is something else."""
        told = {n for piece, p in zip(pieces, parts, strict=True) if p.said for i in piece for n in i.names}
        rest = {n for piece, p in zip(pieces, parts, strict=True) if not p.said for i in piece for n in i.names}
        return bool(told) and not any(p.unclear for p in parts) and not told & rest & self.words.nouns

    def _bare_nouns(self, own: Clause) -> frozenset[int]:
        """Where parts stand alone before an "and": what is said of the next one is said of them ("fuse and limit good")."""
        content = [i for i in own if i.names - _ROLES]
        last = max((i.piece for i in content), default=0)
        full = {i.piece for i in content if not i.names & self.words.nouns}
        return frozenset(i.at for i in content if i.piece not in full and i.piece < last and i.denied == SAID)

    def _nouns(self, items: Iterable[Item]) -> Clause:
        return [i for i in items if i.names & self.words.nouns and not i.names & self.words.itself and i.denied == SAID]

    def thought(self, items: Clause, before: Clause) -> Heard:
        """What one thought says; `before` are the parts spoken of just before, for one that names none."""
        itself = [i for i in items if i.names & self.words.itself]
        if not self._nouns(items) and not any(i.denied or i.text not in _IT for i in itself):
            items = [*(i for i in before if i.at not in {j.at for j in items}), *items]
        own = [i for i in items if i not in before]
        if gone := self._tools_gone(own):
            return Heard([Said("tool", name, "", "") for name in gone], len(own))
        told = any(i.has("advised") for i in own)
        fitting = [f for f in self._fits(items, own) if f.rule.kind == "repair" or not told]
        fitting = [f for f in fitting if not any(self._is_only_where(f, other) for other in fitting)]
        fits, torn = best(fitting, self.words.verbs, self._bare_nouns(own))
        pieces = {piece: " ".join(i.text for i in own if i.piece == piece) for piece in {i.piece for i in own}}
        doubts = any(_ASKS.match(piece) for piece in pieces.values()) or any(
            _doubts(a, b) for a, b in pairwise([*own, Item(-1, "", frozenset())])
        )
        if any(i.has("<report>") for i in own) and any(
            f.rule.meaning.split("=")[0] not in self.knowledge.symptom for f in fits
        ):
            doubts = True
        content = [i for i in own if i.names - _ROLES and not i.has("<turn>", "<turn_end>")]
        typed = " ".join(i.text for i in items)
        if doubts:
            return Heard([Said("doubt", "", "part", typed)] if content else [], len(content), doubts=True)
        work = [f for f in fits if f.rule.kind == "repair"]
        if self._is_put_off(own, fits):
            return self._not_done(items, own, work)
        if torn:
            return Heard([self._which(torn, own)])
        return self._taken(fits, items, own)

    # --- what stands in the way ---

    def _taken(self, fits: Sequence[Fit], items: Clause, own: Clause) -> Heard:
        text = " ".join(i.text for i in own)
        all_used = [i for f in fits for i in f.used]
        used = {i.at for i in all_used} | {i.turned_by for i in all_used if i.turned_by >= 0}
        if any(f.rule.kind == "reading" for f in fits):
            used |= {i.at for i in own if i.number}
        left = [i for i in own if i.at not in used and not any(self._repeats(i, u) for u in all_used)]
        if any(u not in own for u in all_used) and any(self._is_state(i) for i in left):
            return self.thought([*own], [])  # a part was spoken of before, and this is said of something else
        if any(f.rule.kind == "reading" and f.is_bare for f in fits) and any(self._is_state(i) for i in left):
            return Heard([], unclear=True)  # "limit opens at 150": 150 what?
        kinds = {f.rule.kind for f in fits}
        if kinds == {"repair"} and any(i.has("advised") for i in own):
            left = []
        if any(self._may_be_another(i, own, f.rule.kind == "repair") for f in fits for i in f.used):
            return Heard([], unclear=True)  # "drum fuse OL": which fuse?
        if "repair" not in kinds and any(i.has("removed") for i in left):
            return Heard([], text=text)  # what was taken off is there no more
        if any(self._turns(i, bool(fits), "repair" in kinds) for i in left):
            return Heard([], unclear=True)
        by_others = any(i.has("<somebody>") for i in left) and not any(i.has("advised") for i in own)
        if kinds & {"repair", "machine"} and by_others:
            return Heard([], unclear=True)
        known = sum(len(i.text.split()) for i in items if i.at in used)
        unknown = [i for i in left if not i.names and not i.number and i.text not in _SMALL]
        if not fits or len(unknown) > (UNKNOWN * known if len(all_used) > 1 else all(not i.number for i in all_used)):
            return Heard([], text=text if any(i.names - _ROLES or i.number for i in own) else "")
        said = [each for f in sorted(fits, key=lambda f: min(f.places)) for each in self._meant(f, items)]
        against = next((c for f in fits if f.rule.kind == "reading" for c in self._contradicts(f, said)), None)
        more = [i for i in own if i in left or (i.text == "off" and i.at not in used)]
        if kinds == {"machine"} and any(self._is_state(i) or i.text == "off" for i in more):
            said += [Said("unread", " ".join(i.text for i in more), "", "")]  # "gas off back off": something else is
        read = used - {i.at for f in fits if f.rule.kind == "ask" for i in f.used}
        return Heard([against] if against else said, len(used), read=frozenset(read))

    def _contradicts(self, fit: Fit, said: Sequence[Said]) -> Iterator[Said]:
        """A question, where the words beside a reading say another outcome than the number does: "dried in 43 min"."""
        name = fit.rule.meaning
        with_words = (r for r in self.fitting.rules if r.kind == "finding" and r.meaning.partition("=")[0] == name)
        words = [r.meaning.partition("=")[2] for r in with_words if len(used_by(r.parts, [*fit.used])) > 1]
        words += [o for o in self.knowledge.observables[name].outcomes if any(i.has(o) for i in fit.used)]
        for each in (s for s in said if s.name == name and words):
            if shown := shows_otherwise(self.knowledge, name, each.value, words[0]):
                yield Said(
                    "ask", f"{each.value} is {name}={shown}, but '{words[0]}' is said. Type which it was.", "", ""
                )

    def _turns(self, item: Item, read: bool, work: bool) -> bool:
        """Whether a word that no meaning used may turn what was said into something else."""
        if item.has("<turn>", "<hedge>") or (item.denied == UNCLEAR and item.names - _ROLES):
            return True
        if item.number:
            small = item.number.isdecimal() and len(item.number) < 9 and int(item.number) <= COUNTS
            return read and (item.at == 0 or not small) and item.measures not in ("minutes", "seconds", "hours")
        if item.has("<aside>"):
            return False
        if item.names == {"<missing>"} or item.names & self.words.orders:
            return read
        inner = item.text.split()
        if len(inner) > 1 and any(w in _TURNING for w in inner):
            return True
        if work and item.has("handled"):
            return True  # "did the igniter test"
        if item.names & self.words.verbs and not item.names - self.words.verbs - _ROLES:
            return read and not work and not (item.has("handled") and item.denied == SAID)
        return read and bool(item.names & self.words.nouns) and not item.placed and not item.names & self.words.neutral

    def _is_put_off(self, own: Clause, fits: Sequence[Fit]) -> bool:
        """Whether work is planned, refused or left out."""
        left_out = any(i.denied == DENIED and i.names & self.words.verbs for i in own) and not fits
        denied = any(i.denied for f in fits if f.rule.kind == "repair" for i in f.used)
        told = [next((i.at for i in f.used if i.has("advised")), len(own) + own[-1].at) for f in fits if own]
        return left_out or denied or any(i.has("<plan>") and i.at < max(told, default=i.at + 1) for i in own)

    def _repeats(self, item: Item, used: Item) -> bool:
        """Whether an item says once more what another one said; of parts only the word beside it."""
        same = (item.names - _ROLES) & used.names
        return bool(same - self.words.nouns or (same and abs(item.at - used.at) <= 2)) and item.denied == used.denied

    def _may_be_another(self, part: Item, own: Clause, work: bool) -> bool:
        """Whether a word beside a part may make another part of it: "mtr fuse", "drum fuse", "blower hsg"."""
        free, after = self.words.neutral - self.words.itself, part.at + len(part.text.split())
        odd = [i for i in own if (i.names <= free if i.names else not i.number and i.text not in _SMALL and i.text[1:])]
        last = part.text in self.words.ends and any(i.at + len(i.text.split()) == part.at for i in odd)
        first = part.text in self.words.starts and any(i.at == after and not i.names for i in odd)
        return bool(part.names & self.words.nouns - self.words.itself and (last or (work and first)))

    def _is_state(self, item: Item) -> bool:
        return bool(item.names - _ROLES - self.words.nouns - self.words.verbs) and item.text not in _SMALL

    def _not_done(self, items: Clause, own: Clause, work: Sequence[Fit]) -> Heard:
        """Work that is planned, refused or left out; what else such a thought tells of is not taken."""
        named = [f.rule.meaning for f in work if not any(i.denied for i in f.used)]
        verbs = [i for i in own if i.names & self.words.verbs]
        refused = [f.rule.meaning for f in work if any(i.denied for i in f.used)]
        parts = self._nouns(own) or (self._nouns(items) if verbs else [])
        plans = [i for i in own if i.has("<plan>")]
        if not parts and not named and not refused:
            return Heard([])
        if len(named) == 1 and plans and not refused and plans == [i for i in own[:1] if i.names & self.words.verbs]:
            fitted = f"Fitted now, or still to do? Fitted: type yes, or repair {named[0]}. Else nothing is noted of it."
            return Heard([Said("ask", fitted, f"repair {named[0]}", "")], len(own))
        if parts and _ORDERED & (told := {i.text for i in plans}) and told <= _ORDERED | _WHEN:
            return Heard([Said("noted", grammar()["ordered"]["told"], "", "")], len(own))
        done = [] if plans or any(i.has("<somebody>") for i in own) else [Said("repair", n, "", "") for n in named]
        names = ", ".join(dict.fromkeys([*refused, *(named if plans else [])]))
        return Heard([*done, Said("undone", names, "", " ".join(i.text for i in own))], len(own))

    def _which(self, torn: Sequence[Fit], own: Clause) -> Said:
        which = f"{' or '.join(dict.fromkeys(called(f.rule) for f in torn))}? Type the one that is meant."
        if all(f.rule.kind == "machine" for f in torn):
            which = "say how each is, parted by commas."
        return Said("ask", f"'{' '.join(i.text for i in own)}': {which}", "", "")

    def _tools_gone(self, own: Clause) -> list[str]:
        tools = [i for i in own if i.names & self.words.tools]
        rest = [i for i in own if not i.names & self.words.tools]
        missing = [i for i in own if i.has("<missing>", "<turn>")]
        other = [
            i
            for i in rest
            if (i.names & self.words.nouns and not i.names & self.words.itself)
            or i.number
            or i.has("<plan>", "<doubt>")
        ]
        other += [i for i in rest if (self._is_state(i) or i.names & self.words.verbs) and not i.has("<missing>")]
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
        for fit in self.fitting.fits(items):
            if not fit.places.isdisjoint(mine) and (fit.rule.kind != "repair" or self._is_work(fit.used, items)):
                yield fit

    def _is_work(self, used: Sequence[Item], items: Clause) -> bool:
        """Whether a verb and a part belong together: one "swapped" does for "coils and igniter", but not for "swapped coils and
        igniter open", and none reaches over a verb that is denied."""
        pieces = {i.piece for i in used}
        own = [i for i in items if i.piece in pieces and i.names - _ROLES]
        bare = len(pieces) == 1 or any(all(i.names & self.words.nouns for i in own if i.piece == p) for p in pieces)
        low, high = min(i.at for i in used), max(i.at for i in used)
        between = [i for i in items if low < i.at < high and i.denied == DENIED and i.names & self.words.verbs]
        return bare and not between and sum(i.denied == DENIED for i in used) <= 1

    def _is_only_where(self, fit: Fit, other: Fit) -> bool:
        """Whether work's part only says where the other's is: "cleaned the vent from blower to hood"."""
        parts, its = ([i for i in f.used if i.names & self.words.nouns] for f in (fit, other))
        behind = any(a.placed and not b.placed and a.piece == b.piece and a.at > b.at for a in parts for b in its)
        return behind and fit.rule.kind == other.rule.kind == "repair" and fit.rule.meaning != other.rule.meaning

    def _meant(self, fit: Fit, items: Clause) -> Iterator[Said]:
        kind, meaning = fit.rule.kind, fit.rule.meaning
        if kind == "excluded":
            name, _, value = meaning.partition("=")
            yield Said("excluded", name, value, "")
        elif kind == "reading":
            spec = self.knowledge.reading.get(meaning)
            measured = next(p.unit for p in fit.rule.parts if p.unit is not None)
            value = reading_text(spec, measured, items) if spec else ""
            if value and self.is_there("finding", meaning, ""):
                yield Said("finding", meaning, value, value)
        elif kind == "noted":
            yield Said("noted", self.words.told[meaning], meaning, "")
        elif kind == "ask":
            yield Said("ask", meaning, "", "")
        elif kind == "amount":
            yield from self._amount(meaning, fit, items)
        elif kind == "repair":
            if self.is_there("repair", meaning, ""):
                yield Said("repair", meaning, "", "")
        else:
            as_kind: dict[str, Kind] = {"machine": "machine", "fact": "fact", "finding": "finding"}
            for each in meaning.split():
                name, _, value = each.partition("." if kind == "machine" else "=")
                if self.is_there(kind, name, value) or (kind == "machine" and name in self.words.unplain):
                    yield Said(as_kind[kind], name, value, "")
                elif kind == "finding" and self.is_there("fact", name, value):
                    yield Said("fact", name, value, "")

    def _amount(self, name: str, fit: Fit, items: Clause) -> Iterator[Said]:
        number = next(i for i in fit.used if i.number)
        others = [i for i in self._nouns(items) if i.at not in fit.places and not i.names & self.words.neutral]
        if others or any(i.number and i != number and bool(i.unit) == bool(number.unit) for i in items):
            return  # the age of something else; which of two
        fact, check = self.knowledge.context.get(name), self.knowledge.check.get(name)
        values = fact.values if fact else check.outcomes if check else {}
        value = step_of(self.words.amounts[name], number, values)
        kind: Kind = "fact" if fact else "finding"
        if value and self.is_there(kind, name, value):
            yield Said(kind, name, value, "")


def _may_be_listed(items: Clause) -> bool:
    """Whether a thought is a bare thing, that the "no" of the thought before may go on to."""
    return len([i for i in items if i.names]) == 1 and all(i.names or i.text in _SMALL or i.text == "or" for i in items)


def _only_doubts(items: Clause) -> bool:
    return any(i.has("<doubt>") for i in items) and not any(i.names - _ROLES for i in items)


def _doubts(item: Item, following: Item) -> bool:
    return item.text == "?" or (item.has("<doubt>") and not (item.has("<approx>") and bool(following.number)))


def _is_back(item: Item) -> bool:
    return item.text in ("found", "got", "fixed", "working", "again", "after all", "new", "sorted", "back")


_ROLES = frozenset(f"<{role}>" for role in ROLES)
_ASKS = re.compile(rf"(?:{'|'.join(listed(grammar()['question']['words']))})\b")
_ORDERED = frozenset(listed(grammar()["ordered"]["words"]))
_WHEN = frozenset(listed(grammar()["ordered"]["when"]))
_TURNING = frozenset(listed(grammar()["turn"]["words"]))
# What may speak of a part that was named before; any other name of the machine speaks of the machine.
_IT = frozenset({"it", "thing", "this one"})
_SMALL = frozenset(listed(grammar()["small"]["words"]))
