"""Spellings of the trade that stand for one component, or for the one check that looks at it."""

from __future__ import annotations

from functools import cache

from faultodds.names import fold


@cache
def trade_names(appliance: str, fixes: tuple[tuple[str, tuple[str, ...]], ...]) -> dict[str, str]:
    """Spellings of the trade that are one component's: of the one that is put right by work that speaks of that part alone."""
    from faultodds.job import grammar, listed, own_words, words_from

    own = own_words(appliance)
    if own is None:
        return {}
    parts, words, repairs = own["part"], words_from(grammar(), own), dict(fixes)
    about: dict[str, set[str]] = {}
    for rule in words.rules:
        nouns = {n for part in rule.parts for n in part.names if n in parts and not part.optional}
        if rule.kind == "repair" and rule.meaning in repairs and len(nouns) == 1 and not nouns & words.neutral:
            about.setdefault(nouns.pop(), set()).update(t.partition(".")[0] for t in repairs[rule.meaning])
    spelt = [(fold(s), name) for name in parts for s in listed(parts[name]) if not s.endswith("*")]
    about |= {n: {n} for n in parts if any(t.partition(".")[0] == n for fixed in repairs.values() for t in fixed)}
    names = {s: {n for other, n in spelt if other == s} for s, _ in spelt}
    one = {s: set().union(*(about.get(n, {"?"}) for n in named)) for s, named in names.items()}
    return {s: c.pop() for s, c in one.items() if len(c) == 1 and "?" not in c}


@cache
def checks_called(appliance: str) -> dict[str, str]:
    """Spellings of the trade of a part whose good or bad is what one check alone finds: "motor switch", "wires"."""
    from faultodds.job import grammar, listed, own_words, words_from

    own = own_words(appliance)
    if own is None:
        return {}
    parts, words = own["part"], words_from(grammar(), own)
    about: dict[str, set[str]] = {}
    for rule in words.rules:
        nouns = {n for part in rule.parts for n in part.names if n in parts and not part.optional}
        if rule.kind == "finding" and len(nouns) == 1 and not nouns & words.neutral:
            about.setdefault(nouns.pop(), set()).add(rule.meaning.partition("=")[0])
    return {
        fold(s): min(about[n]) for n in parts if len(about.get(n, ())) == 1 for s in listed(parts[n]) if s[-1] != "*"
    }
