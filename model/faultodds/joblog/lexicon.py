"""What words mean: phrases of a column's targets to outcomes, values and repairs, whole, nearly, or spotted in a text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Final, Literal

from faultodds.job import asked
from faultodds.joblog.clean import AFTER, ENDED, ENDINGS, FACT, FOUND, REPAIRS, weights
from faultodds.joblog.log_words import known
from faultodds.joblog.once import once
from faultodds.joblog.stems import NO, key, keys, loose, negatives, trade, vocabulary
from faultodds.knowledge import Check, Knowledge

SHORTEST: Final = 4
"""Keys shorter than this are never guessed at."""
LONG: Final = 9
"""From this length on two slips of the fingers are forgiven, before it one."""

OPPOSITES: Final = frozenset(
    {"on", "off", "in", "out", "up", "down", "hot", "cold", "wet", "dry", "low", "high", "new", "old", "good", "bad"}
)

How = Literal["exact", "near"]


@dataclass(frozen=True)
class Meaning:
    """One thing said: a column of the clean log and what stands in it."""

    column: str
    value: str


@dataclass
class Lexicon:
    """Keys of phrases with all their meanings; more than one when a phrase could be said of several targets."""

    phrases: dict[str, list[Meaning]] = field(default_factory=dict)
    known: frozenset[str] = frozenset()
    """Words of the trade besides those of the phrases: none of them is a slip of another."""

    def add(self, meaning: Meaning, phrases: Iterable[str]) -> None:
        """Let phrases mean something; what they meant before they go on meaning as well."""
        for phrase in keys(phrases):
            meanings = self.phrases.setdefault(phrase, [])
            if meaning not in meanings:
                meanings.append(meaning)

    def whole(self, text: str) -> tuple[list[Meaning], How] | None:
        """The meanings of a text taken as one phrase, and whether it was spelt so; None when it is none."""
        wanted = key(text)
        found = self.phrases.get(wanted) or self._any_order.get(loose(wanted))
        if wanted == NO and len(text.split()) == 1:  # "does nothing" comes to a bare no, which is no yes to it
            found = [meaning for meaning in found or () if meaning.value != "yes"]
        if found:
            return found, "exact"
        near = self._near(wanted)
        return (near, "near") if near else None

    def spot(self, text: str) -> tuple[list[Meaning], list[str]]:
        """Every phrase found in a longer text, the longest first, and the words left over."""
        words, at = key(text).split(), 0
        found: list[Meaning] = []
        left: list[str] = []
        while at < len(words):
            meaning, length = self._longest_at(words, at)
            if meaning is None and words[at] == NO:
                meaning, length = self._denied_at(words, at)
            if meaning is None:
                left.append(words[at])
            else:
                found.append(meaning)
            at += max(length, 1)
        return found, left

    def _longest_at(self, words: list[str], at: int) -> tuple[Meaning | None, int]:
        for length in range(min(self._longest, len(words) - at), 0, -1):
            meanings = self.phrases.get(" ".join(words[at : at + length]))
            if meanings and words[at : at + length] != [NO]:
                return meanings[0], length
        return None, 0

    def _denied_at(self, words: list[str], at: int) -> tuple[Meaning | None, int]:
        # "no burning smell": the phrase after the negative, turned round where it is a yes or no; else nothing is said.
        meaning, length = self._longest_at(words, at + 1)
        if meaning is None:
            return None, 0
        return (Meaning(meaning.column, "no") if meaning.value == "yes" else None), length + 1

    @cached_property
    def _any_order(self) -> dict[str, list[Meaning]]:
        return {loose(phrase): meanings for phrase, meanings in self.phrases.items()}

    @cached_property
    def _longest(self) -> int:
        return max((len(phrase.split()) for phrase in self.phrases), default=0)

    @cached_property
    def _by_negatives(self) -> dict[int, list[str]]:
        sorted_out: dict[int, list[str]] = {}
        for phrase in self.phrases:
            sorted_out.setdefault(negatives(phrase), []).append(phrase)
        return sorted_out

    def _near(self, wanted: str) -> list[Meaning]:
        if len(wanted) < SHORTEST or any(c.isdigit() for c in wanted):
            return []
        from rapidfuzz import process
        from rapidfuzz.distance import OSA

        rivals = self._by_negatives.get(negatives(wanted), [])
        close = process.extract(wanted, rivals, scorer=OSA.distance, score_cutoff=slips_in(wanted), limit=8)
        close = [each for each in close if self._is_slip(wanted, each[0])]
        found = [self.phrases[phrase] for phrase, distance, _ in close if distance == close[0][1]]
        return found[0] if found and all(meanings == found[0] for meanings in found) else []

    def _is_slip(self, typed: str, phrase: str) -> bool:
        """Whether a phrase differs from a known one in words that are no words: "turned gas on" is no slip of "turned gas off"."""
        one, other = typed.split(), phrase.split()
        if len(one) != len(other):
            return True
        return all(
            a == b or (a not in self._words | self.known and a not in OPPOSITES)
            for a, b in zip(one, other, strict=True)
        )

    @cached_property
    def _words(self) -> frozenset[str]:
        return frozenset(word for phrase in self.phrases for word in phrase.split())

    def nearest(self, text: str) -> Meaning | None:
        """The meaning that a text comes nearest to, for a report; None where no known phrase stands in it, but for slips: likeness
        of letters alone is no sense ("cancelled" is no "called back")."""
        from rapidfuzz import fuzz, process

        typed = key(text)
        words, there = self._words | self.known, typed.split()
        rivals = [p for p in self._by_negatives.get(negatives(typed), []) if _stands_in(p.split(), there, words)]
        close = process.extractOne(typed, rivals, scorer=fuzz.WRatio)
        return self.phrases[close[0]][0] if close else None


def hint(knowledge: Knowledge, lexicon: Lexicon, text: str) -> Meaning | None:
    """The meaning that a text which is not understood comes nearest to. None where that would be that all is well: one word of
    several says no such thing ("warm, then off")."""
    found = lexicon.nearest(text)
    observed = knowledge.observables.get(found.column.partition(":")[2]) if found else None
    well = found is not None and observed is not None and found.value == next(iter(observed.outcomes))
    return None if well and " " in text.strip() else found


def _stands_in(phrase: list[str], text: list[str], words: frozenset[str]) -> bool:
    """Whether every word of a phrase stands in a text, but for slips and endings; one of the trade's own `words` is no slip of
    another ("foil" of "coil")."""
    return phrase != [NO] and all(
        any(word == other or (other not in words and _is_word(word, other)) for other in text) for word in phrase
    )


def _is_word(word: str, typed: str) -> bool:
    from rapidfuzz.distance import OSA

    if word == typed or min(len(word), len(typed)) < SHORTEST:
        return word == typed
    return typed.startswith(word) or OSA.distance(word, typed) <= slips_in(word)


def slips_in(phrase: str) -> int:
    """How many slips (a letter wrong, missing, too many, or two swapped) a phrase may have and still be known."""
    return 1 if len(phrase) < LONG else 2


# --- building ------------------------------------------------------------------------------------------------------


def of_observable(knowledge: Knowledge, name: str, prefix: str = FOUND) -> Lexicon:
    """The words for the outcomes of one symptom or check."""
    lexicon, words = Lexicon(), trade(knowledge.appliance.id)
    observable = knowledge.observables[name]
    said = words.get("found", {}).get(name, {})
    parts = [part for title in observable.outcomes.values() for part in keys(_parts(title))]
    for outcome, title in observable.outcomes.items():
        # A part of two titles ("lights, then ...") tells nothing.
        titles = [part for part in _parts(title) if parts.count(key(part)) == 1]
        own = [outcome.replace("_", " "), *titles, *said.get(outcome, [])]
        spec = knowledge.reading.get(name)
        own += spec.words.get(outcome, []) if spec else []
        lexicon.add(Meaning(prefix + name, outcome), own)
    if isinstance(observable, Check):
        _add_general(lexicon, knowledge, name, prefix)
    elif set(observable.outcomes) == {"no", "yes"}:
        lexicon.add(Meaning(prefix + name, "yes"), ["y", "yes", "true"])
        lexicon.add(Meaning(prefix + name, "no"), ["n", "no", "false"])
    return lexicon


def _add_general(lexicon: Lexicon, knowledge: Knowledge, name: str, prefix: str) -> None:
    words, outcomes = vocabulary(), list(knowledge.observables[name].outcomes)
    if name in knowledge.reading and knowledge.reading[name].kind in ("continuity", "windings", "resistance"):
        for outcome, group in ((outcomes[0], "closed"), ("open" if "open" in outcomes else outcomes[1], "open")):
            lexicon.add(Meaning(prefix + name, outcome), _new(lexicon, words["continuity"][group]))
    lexicon.add(Meaning(prefix + name, outcomes[0]), _new(lexicon, words["normal"]["words"]))
    lexicon.add(Meaning(prefix + name, not_normal(outcomes)), _new(lexicon, words["bad"]["words"]))


def not_normal(outcomes: list[str]) -> str:
    """The cell for "bad": the one other outcome, or all the others alike."""
    others = outcomes[1:]
    return others[0] if len(others) == 1 else "|".join(f"{o}:{1 / len(others):.2g}" for o in others)


def _new(lexicon: Lexicon, phrases: Iterable[str]) -> list[str]:
    # General words give way to the check's own: "open" is fine for a gas cock and bad for a fuse.
    return [phrase for phrase in phrases if key(phrase) not in lexicon.phrases]


def _parts(title: str) -> list[str]:
    """ "kinked or crushed" -> itself and its two halves."""
    pieces = [p.strip() for half in title.split(" or ") for p in half.split(",")]
    return [title, *(p for p in pieces if p)]


def of_fact(knowledge: Knowledge, name: str) -> Lexicon:
    """The words for the values of one fact."""
    lexicon = Lexicon()
    values = asked(knowledge)[name].values
    said = trade(knowledge.appliance.id).get("fact", {}).get(name, {})
    for value, title in values.items():
        lexicon.add(Meaning(FACT + name, value), [value.replace("_", " "), title, *said.get(value, [])])
    return lexicon


@once
def of_repairs(knowledge: Knowledge) -> Lexicon:
    """The words for repairs done."""
    lexicon, said = _free(knowledge), trade(knowledge.appliance.id).get("repair", {})
    for name, repair in knowledge.repair.items():
        lexicon.add(
            Meaning(REPAIRS, name), [name.replace("_", " "), repair.title.partition(",")[0], *said.get(name, [])]
        )
    return lexicon


@cache
def of_endings() -> Lexicon:
    """The words for how a job ended."""
    lexicon, said = Lexicon(), vocabulary()["ended"]
    for ending in ENDINGS:
        lexicon.add(Meaning(ENDED, ending), [ending.replace("_", " "), *said[ending]])
    return lexicon


def _free(knowledge: Knowledge) -> Lexicon:
    """An empty one for free text, in which any word of the trade may stand."""
    return Lexicon(known=known(knowledge.appliance.id))


@once
def of_complaint(knowledge: Knowledge) -> Lexicon:
    """The words for every symptom at once."""
    lexicon = _free(knowledge)
    for name, symptom in knowledge.symptom.items():
        said = trade(knowledge.appliance.id).get("found", {}).get(name, {})
        yes_no = set(symptom.outcomes) == {"no", "yes"}
        for outcome, phrases in said.items():
            if all(each in symptom.outcomes for each in weights(outcome)):
                lexicon.add(Meaning(FOUND + name, outcome), phrases)
        if yes_no:
            lexicon.add(Meaning(FOUND + name, "yes"), [symptom.title, name.replace("_", " ")])
    return lexicon


@once
def of_checks(knowledge: Knowledge) -> Lexicon:
    """The words that only one check's outcome goes by, for text about any of them."""
    lexicon = _free(knowledge)
    for name in knowledge.check:
        title = knowledge.check[name].title
        for phrase, meanings in of_observable(knowledge, name).phrases.items():
            for prefix in (title, name.replace("_", " ")):
                lexicon.add(meanings[0], [f"{prefix} {phrase}"])
    return lexicon


@once
def of_targets(knowledge: Knowledge, columns: tuple[str, ...]) -> Lexicon:
    """The words of several columns of the clean log in one; a phrase may then have several meanings."""
    merged = Lexicon()
    for column in columns:
        for phrase, meanings in of_target(knowledge, column).phrases.items():
            merged.phrases.setdefault(phrase, []).extend(m for m in meanings if m not in merged.phrases[phrase])
    return merged


def exact(lexicon: Lexicon, text: str) -> list[Meaning]:
    """The meanings of a text spelt as it should be; cheap, nothing is guessed at."""
    return lexicon.phrases.get(key(text), [])


@once
def of_target(knowledge: Knowledge, column: str) -> Lexicon:
    """The words of one column of the clean log."""
    kind, _, name = column.partition(":")
    if column == REPAIRS:
        return of_repairs(knowledge)
    if column == ENDED:
        return of_endings()
    if kind + ":" == FACT:
        return of_fact(knowledge, name)
    if kind + ":" in (FOUND, AFTER):
        return of_observable(knowledge, name, kind + ":")
    return Lexicon()
