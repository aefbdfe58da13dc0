"""Sentences of free text in a log: complaints, findings, work done, notes. One grammar with what a technician types: `job.Hearer`.

A sentence is a phrase of the trade, spelt out in the words of the appliance; else a list of such phrases; else it is heard, with
its denials, doubts and plans; else its parts between commas are. What is none of these is left, and asked about.
A bare part is work only in a column of work, and only where nothing beside it turns it: "coils", not "coils ordered".
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import takewhile
from typing import Any, Final

from msgspec import Struct

from faultodds.job import Hearer, Rule, Said, Words
from faultodds.joblog import callbacks, told_in_order
from faultodds.joblog.beside import PUT_OFF, Beside
from faultodds.joblog.clean import CAME_BACK, ENDED, FOUND, GONE, REPAIRS
from faultodds.joblog.explained import Explained, Own
from faultodds.joblog.lexicon import Lexicon
from faultodds.joblog.log_words import (
    any_part,
    nothing_done,
    sentences_of,
    silent,
    without_places,
    words_of,
    written,
)
from faultodds.joblog.metered import assumptions_for, read_metered
from faultodds.joblog.stems import key, trade
from faultodds.joblog.times import dry_time
from faultodds.knowledge import Knowledge

_COMMA: Final = re.compile(r"\s*,\s*|\s+--?\s+")
_PLUS: Final = re.compile(r"\s*\+\s*")
_WEAK: Final = re.compile(r"\s*[+&/,]\s*|\s+(?:and|w/|with|plus)\s+", re.I)
_PARTS: Final = re.compile(r"\s*[,;&+]\s*|\s+(?:and|but)\s+", re.I)
_ORDER: Final = re.compile(r"\b(?:then|until|till|after|once|first|when|but|now|used to)\b", re.I)
_COMMENT: Final = re.compile(r"(.*(?:\S\s*[,-]|\d\S*))\s*(?:ok|okay|good|fine|normal)$", re.I)
_LABEL: Final = re.compile(r"\b(hot|cold|ohms?|reads?|bench|running): ?", re.I)
_COUNTED: Final = re.compile(r"^\W*\d+\s*(?:x|ea|pcs?)?\s+|\s*(?:x\s*\d+|\(\d+\)|qty:? ?\d+)$", re.I)
_LENGTH: Final = re.compile(r"\b\d+\s*(?:'|ft\b|feet\b)", re.I)
_PAST: Final = re.compile(
    r"^(?:.*\b(?:is|are) (?:gone|fixed)\b|(?:it )?was (?!\d)[^,]*?)[ ,-]*(?:but )?now (?=\D)", re.I
)
_ONLY: Final = re.compile(r"(?:.*\bnot (?:replaced|needed|done|changed)\b\W+)?([\w ]+?) only$", re.I)
_INSTEAD: Final = re.compile(r"(.+?)(?:,? (?:it )?was)? (?:instead of|rather than|not) (?:the )?([\w ]+)$", re.I)
_NAME: Final = re.compile(r"[a-z]{3,}")
_NOT_OURS: Final = re.compile(r"\W*(?:the )?(?:cust(?:omer)?|will|to be)\b", re.I)
"""What a key leaves out, and with which nothing was done by the technician, or not yet."""
PLAN: Final = re.compile(r"<plan>")
_DOUBT: Final = re.compile(r"<doubt>")

Pair = tuple[str, str]


@dataclass
class Told:
    """What a cell of free text says: (clean column, value) pairs in order, the sentences left, those that say nothing that is kept,
    and whether some slip was mended."""

    said: list[Pair] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)
    mended: bool = False


class Sentences(Beside):
    """Reads the sentences of one column of free text. `wanted` are the columns of the clean log that it may fill."""

    def __init__(self, knowledge: Knowledge, wanted: Iterable[str], lexicon: Lexicon, own: Own) -> None:
        self._knowledge, self._lexicon = knowledge, lexicon
        self._wanted = frozenset(wanted)
        self._work = REPAIRS in self._wanted
        self._only_work = self._wanted == {REPAIRS}
        self._ends = ENDED in self._wanted
        self._tells_work = self._work or any(name.removeprefix(FOUND) in knowledge.check for name in self._wanted)
        self._tells_symptoms = any(name.removeprefix(FOUND) in knowledge.symptom for name in self._wanted)
        self._explained = Explained(own)
        plain = words_of(knowledge.appliance.id)
        words = plain and self._explained.among(plain, knowledge)
        complained = _said_of(words, frozenset(knowledge.symptom)) if words and self._tells_symptoms else frozenset()
        about = _About(self._wanted, frozenset(knowledge.check), complained, frozenset(self._explained.pairs))
        self._hearer = Hearer(knowledge, words, self._is_there, about) if words else None
        self._other = Hearer(knowledge, words, _anything, _no_machine) if words else None

    # --- sentence by sentence ---

    def _by_sentences(self, text: str) -> Told:
        told = Told()
        before = ""
        sentences = sentences_of(text, self._work)
        for n, sentence in enumerate(sentences):
            after = sentences[n + 1] if n + 1 < len(sentences) else ""
            if self._is_elsewhere(sentence):
                told.silent.append(sentence)
                continue
            found = self._held(sentence) or self._sentence(sentence, before, after)
            if found and self._work and self._is_left_open(sentence, after, found):
                found = None
            told.left += self._unread(sentence, found or [])
            if found and self._ends and any(column in (REPAIRS, ENDED) for column, _ in told.said):
                # What is told behind the work is how the machine was left, and no finding.
                found = [pair for pair in found if not pair[0].startswith(FOUND)]
            if found and self._ends:
                found = self._without_run_after(sentence, found)
            if found is None:
                (told.silent if self._says_nothing(sentence) else told.left).append(sentence)
            else:
                told.said += [pair for pair in found if pair not in told.said]
                if not found:
                    told.silent.append(sentence)
            before = sentence if self._nouns(sentence) else before
        return told

    def _without_run_after(self, text: str, found: list[Pair]) -> list[Pair]:
        """What a sentence with work in it says, without symptoms that are normal behind it: that is how the machine was left."""
        if not any(column == REPAIRS for column, _ in found):
            return found
        told = [(FOUND + name, next(iter(s.outcomes))) for name, s in self._knowledge.symptom.items()]
        pieces = told_in_order.clauses_of(text)
        before = takewhile(lambda piece: not any(c == REPAIRS for c, _ in self._hear(piece) or ()), pieces)
        heard = self._hear("".join(before)) or []
        return [pair for pair in found if pair not in told or pair in heard]

    def _held(self, text: str) -> list[Pair] | None:
        """That the customer called again, or did not, told among other things."""
        told = callbacks.told(text) if self._ends else None
        return None if told is None else [(ENDED, CAME_BACK if told else GONE)]

    def _is_elsewhere(self, text: str) -> bool:
        """Whether a sentence is about another machine."""
        patterns = trade(self._knowledge.appliance.id).get("elsewhere", {}).get("patterns", [])
        return any(re.search(pattern, text, re.I) for pattern in patterns)

    def _sentence(self, text: str, before: str, after: str) -> list[Pair] | None:
        """What a sentence says, nothing when it says that nothing was found or done, None when it is not understood."""
        text = _PAST.sub("", text)
        if self._tells_symptoms and (again := callbacks.AGAIN_FOR.fullmatch(text)):
            text = again["why"].rstrip(" )")
        text = self._without_places(text)
        if key(text) in silent():
            return []
        if self._came_to_nothing(text, after):
            return []
        phrase = self._phrase(text)
        bare = self._is_bare(told_in_order.cause(text) or text)
        if phrase is not None and not (bare and self._is_turned_by(after)):
            return phrase
        if comment := _COMMENT.match(text):
            told = self._hear(comment[1])
            if told and not self._work:
                return told
        ways: list[Callable[[str], list[Pair] | None]] = [self._hear]
        ways = [*ways, self._listed] if _ORDER.search(text) or self._turns(text) else [self._listed, *ways]
        for way in ways:
            found = way(text)
            if found is not None:
                return self._with_the_rest(text, found) if way == self._hear else found
        if (part := self._part(text)) and not self._is_turned_by(after):
            return part
        if self._only_work and (only := _ONLY.match(text)) and self._is_bare(only[1]):
            return self._hear(f"replaced {only[1]}")
        if self._only_work and (instead := _INSTEAD.match(text)) and self._nouns(instead[2]):
            return self._hear(instead[1])
        if before and not self._nouns(text):
            found = self._hear(f"{' '.join(i.text for i in self._nouns(before))} {text}")
            if found:
                return found
        return self._in_parts(text)

    def _without_places(self, text: str) -> str:
        """A sentence without the parts that only say where: in a column of work, or where it speaks of another part."""
        if not self._tells_work:
            return text
        rest = without_places(self._knowledge.appliance.id, text)
        return rest if self._only_work or self._nouns(rest) else text

    def _phrase(self, text: str) -> list[Pair] | None:
        if "?" in text:
            return None
        if self._explained.is_silent(text):
            return []
        found = self._lexicon.whole(text)
        if (
            found is None
            or (self._work and _NOT_OURS.match(text))
            or (found[1] == "near" and self._turns(text, PUT_OFF))
            or self._finds(text)
            or len({m.column for m in found[0]}) > 1
        ):
            return None
        return [(m.column, m.value) for m in found[0]]

    def _with_the_rest(self, text: str, found: list[Pair]) -> list[Pair]:
        """What a sentence says and what its parts between commas say beside that: "takes 3 cycles, airflow light on"."""
        parts = [part for part in _PARTS.split(text) if part.strip() and not part.casefold().startswith("then ")]
        told = {column for column, _ in found}
        more = list(found)
        for part in parts if len(parts) > 1 and not self._work else ():
            said = self._phrase(part) or self._hear(part) or []
            more += [pair for pair in said if pair[0] not in told and pair not in more]
        return more

    def _unread(self, text: str, found: list[Pair]) -> list[str]:
        """The thoughts of an understood sentence that nothing was made of."""
        if not found or self._hearer is None or self._only_work:
            return []
        heard = [s.name for s in self._hearer.line(written(self._knowledge.appliance.id, text)) if s.kind == "unread"]
        thoughts = [thought for names in heard for thought in names.split(", ")]
        return [t for t in thoughts if not (self._phrase(t) or self._hear(t) or self._says_nothing(t))]

    def _listed(self, text: str) -> list[Pair] | None:
        """A list of phrases, every one of them known."""
        for separator in (_COMMA, _WEAK):
            parts = [part for part in separator.split(text) if part.strip()]
            if len(parts) > 1:
                found = [self._phrase(part) or self._part(part) for part in parts]
                if all(found):
                    return [pair for each in found for pair in each or ()]
        return None

    def _part(self, text: str) -> list[Pair] | None:
        text = _COUNTED.sub("", text).strip()
        if not self._is_bare(text):
            return None
        return self._phrase(text) or self._hear(f"replaced {text}")

    def _in_parts(self, text: str) -> list[Pair] | None:
        """A sentence by its parts between commas, when none of those that are not understood may turn the others."""
        parts = [part for part in (_COMMA if _COMMA.search(text) else _PLUS).split(text) if part.strip()]
        if len(parts) < 2:
            return None
        found = [self._phrase(part) or self._hear(part) or self._part(part) for part in parts]
        told = [pair for each in found for pair in each or ()]
        turned = any(self._turns(part) or (self._finds(part) and not self._nouns(part)) for part in parts)
        if turned and any(self._is_bare(part) for part, said in zip(parts, found, strict=True) if said):
            # "cycling stat, igniter ordered": both, or one of them? "igniter, cracked": was a new one fitted?
            return None
        if len({column for column, _ in told if column != REPAIRS}) < len({p for p in told if p[0] != REPAIRS}):
            return None  # the same thing told in two ways: which of them holds?
        open_ = [part for part, said in zip(parts, found, strict=True) if said is None]
        if not any(found) or any(self._turns(part) and not self._says_nothing(part) for part in open_):
            return None
        return told

    # --- hearing ---

    def _hear(self, text: str) -> list[Pair] | None:
        text = _LENGTH.sub("", text) if self._only_work else text
        text = _LABEL.sub(r"\1 ", text.replace("=", " is "))
        times = dry_time(self._knowledge, text) if self._tells_symptoms else None
        heard = self._hearer.line(written(self._knowledge.appliance.id, text)) if self._hearer else []
        if any(s.kind in ("ask", "doubt") for s in heard) or (not heard and not times) or self._is_strange(text):
            return None
        told = [pair for s in heard for pair in self._pairs(s)]
        if times and not any(column == times[0] for column, _ in told):
            told.append(times)
        unread = [s for s in heard if s.kind == "unread"]
        if not told and unread:
            return None
        return told

    def _is_strange(self, text: str) -> bool:
        """Whether a word that nobody knows stands beside a phrase that the shop has explained: it may turn it."""
        if not any(name in text for name in self._explained.pairs):
            return False
        return any(not i.names and not i.number and i.text not in self._small for i in self._items(text))

    def _pairs(self, said: Said) -> Iterator[Pair]:
        if said.kind == "repair":
            yield from self._explained.pairs.get(said.name, ((REPAIRS, said.name),))
        elif said.kind == "finding":
            outcomes = self._knowledge.observables[said.name].outcomes
            if said.value in outcomes:
                yield FOUND + said.name, said.value
            elif said.name in self._knowledge.reading:
                given = assumptions_for(self._knowledge, said.name)
                read = read_metered(self._knowledge, said.name, said.value, given)
                yield from [(FOUND + said.name, read.cell)] if read.cell is not None else []

    def _is_there(self, kind: str, name: str, value: str) -> bool:
        return kind == "repair" or (kind == "finding" and name in self._knowledge.observables)

    # --- what it comes to ---

    def _is_turned_by(self, after: str) -> bool:
        """Whether the sentence after speaks on of a part that stood alone: "coils. ordered", "coils. shorted"."""
        if not after or self._nouns(after):
            return False
        return self._finds(after) or (self._turns(after) and not self._says_nothing(after))

    def is_foreign(self, text: str) -> bool:
        """Whether a text tells of a part fitted that the file has no repair for: "replaced door switch"."""
        if not self._hearer or self._turns(text) or self._finds(text):
            return False
        items, words = self._items(text), self._hearer.words
        said = [i for i in items if not i.names & words.verbs and _NAME.fullmatch(i.text) and i.text not in any_part()]
        new = [i.text for i in said if not i.names and i.text not in words.small]
        fitted = any(i.has("new") for i in items) or self._is_bare(text)
        if not fitted or not new or len([*_WEAK.split(text)]) > 1:
            return False
        several = any(new[0] in phrase for spelt in words.spelt.values() for phrase, _ in spelt)
        return len(said) > 1 or not several  # "thermostat" alone: which?

    def _came_to_nothing(self, text: str, after: str) -> bool:
        """Whether work is named, and told to be not done: "duct clean, nothing done", "coils. Customer declined"."""
        told = nothing_done().search(text) or (not self._nouns(after) and nothing_done().search(after))
        if not told or not self._only_work or not self._hearer:
            return False
        names = {name for item in self._items(nothing_done().sub("", text)) for name in item.names}
        return not names & (self._hearer.words.verbs - {"handled"})

    def _says_nothing(self, text: str) -> bool:
        """Whether a sentence is known to say nothing that is kept: a test that went well, or what another column would tell."""
        if key(text) in silent() or (self._ends and not self._nouns(text)):
            return True
        if self._only_work and self._hearer and not self._turns(text):
            names = {name for item in self._items(text) for name in item.names}
            if names & (self._hearer.words.verbs - {"handled"}):
                return False  # "replaced it": something was done, and is not understood
        heard = self._other.line(written(self._knowledge.appliance.id, text)) if self._other else []
        told = {s.kind for s in heard if s.kind != "unread"}
        if told and not told & {"ask", "doubt"} and not (self._work and "repair" in told):
            return True
        return self._work and self._is_no_work(text)

    def _is_no_work(self, text: str) -> bool:
        """Whether a sentence in a column of work tells of none: what was tested and good, is planned, or somebody else did."""
        if self._hearer is None or "?" in text or self._turns(text, _DOUBT):
            return False
        names = {name for item in self._items(text) for name in item.names}
        work = names & (self._hearer.words.verbs - {"handled"})
        put_off = names & {"<plan>", "<somebody>", "<turn>"}
        return bool(put_off and names & (self._hearer.words.nouns | work)) or (
            not work and bool(names & {"good", "closed", "handled"})
        )


class _About(Struct, frozen=True):
    """Whether a rule is about what a column may say that fills the columns `wanted` of the clean log. What the words `complained`
    say is told by the customer, and no result of any of the `checks`; what the shop has `explained` may be said anywhere."""

    wanted: frozenset[str]
    checks: frozenset[str]
    complained: frozenset[frozenset[Any]]
    explained: frozenset[str]

    def __call__(self, rule: Rule) -> bool:
        if any(self.explained.intersection(part.names) for part in rule.parts):
            return True  # the shop has said that this is told here
        if rule.kind == "repair":
            return REPAIRS in self.wanted
        if rule.kind in ("finding", "excluded"):
            if rule.meaning.partition("=")[0] in self.checks and frozenset(rule.parts) in self.complained:
                return False  # "weak air outside" in notes: as the customer tells it
            return all(FOUND + each.partition("=")[0] in self.wanted for each in rule.meaning.split())
        return rule.kind in ("reading", "amount") and FOUND + rule.meaning in self.wanted


@lru_cache(maxsize=8)
def _said_of(words: Words, names: frozenset[str]) -> frozenset[frozenset[Any]]:
    """The words that say something of any of these, each set of words as a set."""
    about = (rule for rule in words.rules if rule.kind == "finding" and rule.meaning.partition("=")[0] in names)
    return frozenset(frozenset(rule.parts) for rule in about)


def _anything(kind: str, name: str, value: str) -> bool:
    return True


def _no_machine(rule: Rule) -> bool:
    return rule.kind != "machine"
