"""Faults as people name them: "coils", "the ignitor", "thermal fuse open", "coils.drop_out_hot"."""

from __future__ import annotations

import re

from faultodds.errors import UnknownName
from faultodds.job import listed, own_words, sayings
from faultodds.knowledge import NOTHING_WRONG, Knowledge, repair_modes
from faultodds.names import fold, match

_ARTICLE = re.compile(r"(?i)^(?:it\s+is\s+)?(?:the|a|an|my|bad)\s+")
_PARTED = re.compile(r"(?i)\s+(?:from|and|or|versus|vs\.?)\s+(?:(?:the|a|an)\s+)?")
_APART = re.compile(r"(?i)\S\s+(?:from|versus|vs\.?)\s+\S")
_NONE = frozenset({"nothing_wrong", "nothing", "no_fault", "nothing_wrong_with_it", "nothing_wrong_with_the_machine"})
# Work on a part, in the words that are listened for when a repair was done: what is worked on is the part that is meant.
_WORK = ("new", "cleaned")


def faults_meant(k: Knowledge, text: str) -> tuple[str, ...]:
    """The modes that `text` names in full, as a part or as what was worked on; empty when it names none so plainly."""
    said = _ARTICLE.sub("", text.strip())
    wanted, modes = fold(said), dict(k.modes())
    full = {n: {fold(n), fold(k.title_of(n)), fold(m.title)} for n, m in modes.items()}
    named = [n for n, spellings in full.items() if wanted in spellings]
    parts = [n for n, c in k.component.items() if wanted in (fold(n), fold(c.title))]
    if named or parts or not wanted:
        return tuple(named or (m for part in parts for m in k.modes_under(part)))
    if mode := mode_called(k, said):
        return (mode,)
    heard = [each for work in _WORK for each in sayings.understand(k, f"{work} {said}")]
    if any(each.kind != "repair" for each in heard):
        return ()
    targets = [k.repair[each.name].fixes[:1] for each in heard]
    return tuple(dict.fromkeys(m for target in targets for t in target for m in k.modes_under(t)))


def mode_called(k: Knowledge, text: str) -> str:
    """The one mode that is named after what a spelling of the trade stands for: "motor switch"; empty for any other text."""
    own, wanted = own_words(k.appliance.id), fold(text)
    for noun, spelt in (own["part"] if own else {}).items():
        modes = [n for n, _ in k.modes() if n.partition(".")[2].startswith(f"{noun}_")]
        if len(modes) == 1 and wanted in map(fold, listed(spelt)):
            return modes[0]
    return ""


def faults_named(k: Knowledge, text: str) -> tuple[str, ...]:
    """The modes that `text` stands for, a beginning or a part of their words being enough; raises UnknownName for none."""
    meant = faults_meant(k, text)
    if meant:
        return meant
    said = _ARTICLE.sub("", text.strip())
    words = {n: c.title for n, c in k.component.items()} | {n: k.title_of(n) for n, _ in k.modes()}
    try:
        found = match("part or fault", said, words, words)
    except UnknownName as problem:
        under = [n for n in words if fold(said) and fold(said) in fold(words[n])]
        if len({n.partition(".")[0] for n in under}) != 1:
            raise problem
        found = under[0].partition(".")[0]
    return tuple(k.modes_under(found))


def is_none(text: str) -> bool:
    """Whether a text says that nothing is wrong."""
    return fold(_ARTICLE.sub("", text.strip())) in _NONE


def sides_named(k: Knowledge, text: str) -> tuple[str, ...]:
    """The modes that one side of "A from B" stands for, as `faults_named`; that nothing is wrong is a side of its own."""
    return (NOTHING_WRONG,) if is_none(text) else faults_named(k, text)


def two_named(text: str) -> tuple[str, str] | None:
    """The two that "A from B", "A or B" names, as typed; None for any other text."""
    pieces = [each.strip() for each in _PARTED.split(text.strip())]
    return (pieces[0], pieces[1]) if len(pieces) == 2 and all(pieces) else None


def apart(text: str) -> bool:
    """Whether two are named to be told apart, "A from B": a name may have an "and" or "or" of its own, but no "from"."""
    return bool(_APART.search(text))


def mended_by(k: Knowledge, mode: str) -> list[str]:
    """The repairs that put a mode right, the usual one (cheapest in parts and minutes) first."""
    rate = k.costs.labour_rate / 60
    by = [n for n, r in k.repair.items() if mode in repair_modes(k, r)]
    return sorted(by, key=lambda n: k.repair[n].cost + rate * k.repair[n].minutes)
