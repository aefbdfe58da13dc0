"""Which meanings the words of a thought fulfil, and which of them count: the largest, and none that shares a word with it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

from msgspec import Struct

from faultodds.job.clauses import DENIED, SAID, Clause, Item
from faultodds.job.words import Part, Rule, Words
from faultodds.knowledge import Knowledge

_Word = tuple[str, int]
_ANY: _Word = ("", -1)
_NUMBER = "<number>"


class Fit(Struct, frozen=True):
    """A rule that a thought fulfils, with the items that it uses."""

    rule: Rule
    used: tuple[Item, ...]

    @property
    def places(self) -> frozenset[int]:
        """Where in the line its items are."""
        return frozenset(item.at for item in self.used)

    @property
    def is_bare(self) -> bool:
        """Whether none of its numbers has a unit."""
        return all(not i.measures for i in self.used if i.number)


def called(rule: Rule) -> str:
    """What a rule means, as it is put in a question."""
    if rule.kind == "noted":
        return "a remark on something else"
    return {"repair": f"repair {rule.meaning}", "machine": rule.meaning.replace(".", " ")}.get(rule.kind, rule.meaning)


Outcomes = tuple[tuple[str, tuple[str, ...]], ...]


def any_rule(rule: Rule) -> bool:
    """Every rule is wanted."""
    return True


@lru_cache(maxsize=32)
def fitting_of(words: Words, outcomes: Outcomes, wanted: Callable[[Rule], bool] = any_rule) -> Fitting:
    """The rules of some words that are wanted, where symptoms and checks have these outcomes; worked out once for all lines."""
    return Fitting([rule for rule in rules_of(outcomes, words) if wanted(rule)])


def outcomes_of(knowledge: Knowledge) -> Outcomes:
    """The outcomes of every symptom and check."""
    return tuple((name, tuple(each.outcomes)) for name, each in knowledge.observables.items())


@lru_cache(maxsize=8)
def rules_of(outcomes: Outcomes, words: Words) -> tuple[Rule, ...]:
    """Every rule, with what its denial means: of two outcomes the other one, of more that it is not this one; of work, that it was
    not done."""
    return (*_with_turned(dict(outcomes), words),)


def _with_turned(of: Mapping[str, Sequence[str]], words: Words) -> Iterator[Rule]:
    for rule in words.rules:
        yield rule
        yield from _turned(of, words, rule)
        if rule.kind == "repair":
            yield from (Rule(rule.kind, rule.meaning, parts) for parts in _denials(rule.parts))


def things_of(rules: Iterable[Rule]) -> dict[str, set[str]]:
    """Each word of the machine's states, with the things of the machine ("gas") that it tells of."""
    of: dict[str, set[str]] = {}
    for rule in (r for r in rules if r.kind == "machine"):
        for name in (n for part in rule.parts for n in part.names):
            of.setdefault(name, set()).add(rule.meaning.partition(".")[0])
    return of


def left_of_machine(
    rules: Sequence[Rule], words: Words, heard: Collection[str], shuts: Collection[str], items: Clause
) -> bool:
    """Whether a line from which only states of the machine were `heard` ("gas.off") has words that are not of these, and tell of
    the machine and of nothing else, or of another one of the things that `shuts` it off."""
    things = {meaning.partition(".")[0] for meaning in heard}
    taken, elsewhere = set(words.itself), set[str]()
    for rule in rules:
        names = {n for part in rule.parts for n in part.names}
        if rule.kind != "machine":
            elsewhere |= names
            continue
        if rule.meaning in heard:
            taken |= names
        elif rule.meaning.partition(".")[0] in things:
            taken |= names & words.nouns
    more = {
        name
        for name, those in things_of(rules).items()
        if name not in elsewhere or (len(those) == 1 and those <= {*shuts} - things)
    }
    return any(item.names & more and not item.names & taken for item in items)


def _turned(outcomes: Mapping[str, Sequence[str]], words: Words, rule: Rule) -> Iterator[Rule]:
    name, _, value = rule.meaning.partition("=")
    if rule.kind != "finding" or " " in rule.meaning or name not in outcomes:
        return
    others = [o for o in outcomes[name] if o != value]
    states = [n for n, p in enumerate(rule.parts) if p.names and not set(p.names) & words.nouns]
    if len(states) != 1 or any(p.denied or p.optional for p in rule.parts):
        return
    parts = list(rule.parts)
    parts[states[0]] = parts[states[0]]._replace(denied=True)
    if len(others) == 1:
        yield Rule("finding", f"{name}={others[0]}", tuple(parts))
    else:
        yield Rule("excluded", rule.meaning, tuple(parts))


def best(fits: Iterable[Fit], verbs: frozenset[str], bare: frozenset[int]) -> tuple[list[Fit], list[Fit]]:
    """The fits with the most words, none of which shares a word with a larger one; and those that cannot be told apart.

    `verbs` may be shared by work, and a state by the parts that stand `bare` before it ("fuse and limit good").
    """
    kept: list[Fit] = []
    for fit in sorted(fits, key=lambda f: -len(f.used)):
        sharing = [k for k in kept if _share(k, fit, verbs, bare)]
        if any(len(k.used) > len(fit.used) for k in sharing):
            continue
        if not any(k.rule.meaning == fit.rule.meaning and k.places == fit.places for k in kept):
            kept.append(fit)
    torn = [a for a in kept if any(_share(a, b, verbs, bare) and a.rule.meaning != b.rule.meaning for b in kept)]
    return kept, torn


def _share(a: Fit, b: Fit, verbs: frozenset[str], bare: frozenset[int]) -> bool:
    """Whether two fits use one word for different things; work shares its verb with other work, "not kinked" its part with "ok"."""
    shared = a.places & b.places
    if (a.rule.kind == "excluded") != (b.rule.kind == "excluded"):
        return bool({i.at for i in a.used if i.turned_by >= 0} & {i.at for i in b.used if i.turned_by >= 0})
    if a.rule.kind == b.rule.kind == "repair":
        return bool(shared - {i.at for i in a.used if i.names & verbs})
    if a.rule.kind == b.rule.kind == "finding" and not shared & bare and (a.places | b.places) & bare:
        return a.rule.meaning.partition("=")[0] == b.rule.meaning.partition("=")[0]
    return bool(shared)


def used_by(parts: Sequence[Part], items: Clause) -> tuple[Item, ...]:
    """The items that a rule's words are, none when one is not there."""
    used: list[Item] = []
    for part in parts:
        found = next((i for i in items if i not in used and _is(part, i)), None)
        if found is not None:
            used.append(found)
        elif not part.optional:
            return ()
    return tuple(used)


class Fitting:
    """Rules by the first word that each cannot do without, and the others of these: of hundreds, a thought has all of a few."""

    def __init__(self, rules: Sequence[Rule]) -> None:
        self.rules = rules
        self._by_word: dict[_Word, list[int]] = {}
        self._others: list[list[frozenset[_Word]]] = []
        for n, rule in enumerate(rules):
            first, *others = [frozenset(_words_of(p)) for p in rule.parts if not p.optional] or [frozenset({_ANY})]
            self._others.append(others)
            for word in first:
                self._by_word.setdefault(word, []).append(n)

    def fits(self, items: Clause) -> Iterator[Fit]:
        """Every rule that these items fulfil, in the order of the rules."""
        there: set[_Word] = {_ANY, *((name, item.denied) for item in items for name in item.names)}
        there.update(("<turn>", _ANY[1]) for item in items if item.has("<turn>"))
        there.update((_NUMBER, SAID) for item in items if item.number)
        for n in sorted({n for word in there for n in self._by_word.get(word, ())}):
            if any(map(there.isdisjoint, self._others[n])):
                continue
            used = used_by(self.rules[n].parts, items)
            if used:
                yield Fit(self.rules[n], used)


def _words_of(part: Part) -> Iterator[_Word]:
    """What an item must have one of to be a part, with whether it is denied."""
    if part.unit is not None:
        yield _NUMBER, SAID
    elif part.denied and not part.names:
        yield "<turn>", _ANY[1]
    else:
        yield from ((name, DENIED if part.denied else SAID) for name in part.names)


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
