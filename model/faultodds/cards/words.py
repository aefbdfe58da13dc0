"""Cards and accounts in words; every figure is one of theirs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from faultodds.advice import percent
from faultodds.cards.account import Account, Change, Chapter, Weight
from faultodds.cards.shown import Parting
from faultodds.knowledge import ContextFact, EquipmentFact, Knowledge
from faultodds.names import capital

# Odds are not written out beyond a million to one.
LARGEST = math.log(1e6)
# From here on a machine is taken to be well after a repair, and no fault is told of.
WELL = 0.9


def of_twenty(p: float) -> str:
    """A chance as so many "of 20", never a false none or all."""
    if p <= 0 or p >= 1:
        return "none" if p <= 0 else "all"
    return {0: "fewer than 1", 20: "nearly all"}.get(round(p * 20), str(round(p * 20)))


def factor(weight: float) -> str:
    """A weight as what it does to the odds: "times 3.2", "divided by 4.5"."""
    if math.isinf(weight):
        return "proves it" if weight > 0 else "rules it out"
    size = number(abs(weight))
    return f"times {size}" if weight >= 0 or size == "1.0" else f"divided by {size}"


def number(logarithm: float) -> str:
    """e to this power, which is at least 1, in two digits or whole."""
    if logarithm > LARGEST:
        return "over a million"
    value = math.exp(logarithm)
    return f"{value:.1f}" if value < 9.95 else f"{value:.0f}"


def thing_words(k: Knowledge, kind: str, name: str) -> str:
    """One thing entered in words: "heat: no heat at all", "repaired: new igniter"."""
    if kind == "repair":
        return f"repaired: {k.repair[name].title}"
    if kind == "came_back":
        return f"it came back: {name}"
    known, _, shown = name.partition("=")
    facts: dict[str, ContextFact | EquipmentFact] = {**k.context, **k.equipment}
    values = facts[known].values if known in facts else k.observables[known].outcomes
    title = known.replace("_", " ") if known in facts else k.observables[known].title
    return f"{title}: {_outcome_words(values, shown)}"


def _outcome_words(values: Mapping[str, str], shown: str) -> str:
    """ "weak", or "weak 70% / strong 30%", in the file's words."""
    pieces = [piece.partition(" ") for piece in shown.split(" / ")]
    return " / ".join(f"{values.get(name, name)} {share}".rstrip() for name, _, share in pieces)


def weights_words(k: Knowledge, weights: Sequence[Weight]) -> str:
    """Several weights: "heat: none (times 6.8), glow: no glow (times 3)"."""
    return ", ".join(f"{thing_words(k, w.kind, w.name)} ({factor(w.weight)})" for w in weights)


def line(k: Knowledge, told: Account) -> str:
    """How a fault stands, in one line: its chance and the heaviest reason."""
    heaviest = max((w for w in told.weights if w.kind == "found"), key=lambda w: abs(w.weight), default=None)
    said = f"{k.title_of(told.mode)}: {percent(told.chance)}"
    if heaviest is None or abs(heaviest.weight) < math.log(1.05):
        return f"{said}; nothing found so far says much about it."
    return f"{said}, most of all because of {weights_words(k, [heaviest])}."


def paragraph(k: Knowledge, told: Account, most: int = 3) -> str:
    """The same in a few sentences: where it began, what speaks for and against it, where it stands."""
    parts = [f"Before anything was found: {percent(told.first)}."]
    for head, weights in (("For it", told.speaking(True)), ("Against it", told.speaking(False))):
        if weights:
            more = f", and {len(weights) - most} more" if len(weights) > most else ""
            parts.append(f"{head}: {weights_words(k, weights[:most])}{more}.")
    return " ".join([*parts, f"Together: {percent(told.chance)}."])


def mind(k: Knowledge, found: Sequence[Change], most: int = 2) -> str:
    """What would have to be seen to change one's mind."""
    if not found:
        return "No one check that is left would change that: it would take two or more, or a wrong finding."
    said = [
        f"{_seen(k, c)}; then {k.title_of(c.mode)} leads with {percent(c.probability)}" for c in _each(found)[:most]
    ]
    return f"What would change that: {'. Or: '.join(said)}."


def back(k: Knowledge, found: Sequence[Change], most: int = 2) -> str:
    """What would have to be seen for a fault to lead after all."""
    if not found:
        return "No one check that is left would put it first: it would take two or more, or a wrong finding."
    return f"It would lead after {', or '.join(_seen(k, c) for c in _each(found)[:most])}."


def _seen(k: Knowledge, c: Change) -> str:
    check = k.check[c.check]
    return f"{c.check}{k.who_may(c.check)} = {c.outcome} ({check.outcomes[c.outcome]}; chance {percent(c.chance)})"


def _each(found: Sequence[Change]) -> list[Change]:
    """The likeliest of each check's."""
    first: dict[str, Change] = {}
    for change in found:
        first.setdefault(change.check, change)
    return list(first.values())


def parting_words(k: Knowledge, part: Parting, a: str, b: str) -> str:
    """The check that parts A from B, in one sentence."""
    check = k.check[part.check]
    return (
        f"{check.title}{k.who_may(part.check)} [{part.check}]: {check.outcomes[part.outcome]} on {of_twenty(part.if_a)} of 20 "
        f"with {a}, {of_twenty(part.if_b)} of 20 with {b}."
    )


def job_line(k: Knowledge, parts: Sequence[Chapter]) -> str:
    """A whole job in a line: what stands now, or what was repaired, for what, and how the machine stands since."""
    end, done = parts[-1], parts[:-1]
    if not done:
        return capital(line(k, end.accounts[0]))
    said = [
        f"{' and '.join(k.repair[n].title for n in each.repairs)}, for "
        f"{' and '.join(f'{k.title_of(a.mode)} ({percent(a.chance)} then)' for a in each.accounts)}"
        for each in done
    ]
    return f"{capital('; then '.join(said))}. Now: nothing wrong {percent(end.belief.sound)}."


def job_paragraphs(k: Knowledge, parts: Sequence[Chapter]) -> Iterable[str]:
    """A whole job in a paragraph for each part of it: why each repair was made, and how things stand now unless all is well."""
    for part in parts:
        if len(parts) > 1 and not part.repairs and part.belief.sound >= WELL:
            continue
        if part.repairs:
            yield f"{capital(' and '.join(k.repair[n].title for n in part.repairs))}:"
        elif len(parts) > 1:
            yield f"Now: nothing wrong {percent(part.belief.sound)}. Likeliest fault still:"
        for told in part.accounts:
            yield f"{capital(k.title_of(told.mode))}. {paragraph(k, told)}"
