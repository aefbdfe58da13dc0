"""A line that names a check first, or answers the one that the screen shows, as NAME=VALUE."""

from __future__ import annotations

import contextlib
import re

from faultodds.errors import FaultoddsError
from faultodds.job import sayings, typed
from faultodds.knowledge import Check, Knowledge
from faultodds.names import fold
from faultodds_cli.bench.call import BenchCall

# A number with its unit, and nothing else; the same of several numbers, whose unit may be left out.
_WITH_UNIT = re.compile(r"\d[\d.,]*\s*[a-z][a-z/. ]*", re.IGNORECASE)
_NUMBERS = re.compile(r"\d[\dk.,/\- ]*(?:[a-z\u03a9\u00b0%][a-z/.]*)?", re.IGNORECASE)
# What stands between a thing and what it showed.
_BETWEEN = frozenset({"the", "a", "is", "its", "it", "was", "found", "are"})


def as_pair(call: BenchCall, line: str) -> str:
    """ "drum_warm warm", "glow look glow no flame", "outlet voltage 118" as NAME=VALUE; while the gas cock is looked at "cock is
    open" as well. Any other line as it is."""
    k = call.visit.knowledge
    name, _, value = line.partition(" ")
    facts = typed.asked(k)
    known = k.observables[name].outcomes if name in k.observables else facts[name].values if name in facts else ()
    if value.strip() in known:
        return f"{name}={value.strip()}"
    if "=" in line or "?" in line:
        return line
    found = _full_name_first(k, line) or _of_the_shown(call, line)
    return f"{found.name}={found.value}" if found else line


def as_shown(call: BenchCall, line: str) -> str:
    """A bare outcome or reading of the check that the screen advises, as it is typed in full; any other line as it is."""
    check = call.visit.knowledge.check.get(call.shown)
    if check is None or call.question is not None:
        return line
    if call.shown in call.visit.knowledge.reading and _WITH_UNIT.fullmatch(line):
        with contextlib.suppress(FaultoddsError):
            call.visit.judge(call.shown, line)
            return f"{call.shown}={line}"
    found = next((outcome for outcome in check.outcomes if fold(outcome) == fold(line)), None)
    return f"{call.shown}={found}" if found else line


def _full_name_first(k: Knowledge, line: str) -> typed.Typed | None:
    """What a check showed that stands first with its full name, the longest; None where what follows is nothing of it alone."""
    words = line.split()
    for count in range(len(words) - 1, 0, -1):
        name = fold(" ".join(words[:count]))
        if name in k.check:
            value = " ".join(words[count:]).lstrip(": ")
            found = typed.Typed(name, value)
            return found if typed.is_outcome(k, found) or _is_reading(k, found) else _in_words(k, found, line)
    return None


def _is_reading(k: Knowledge, found: typed.Typed) -> bool:
    return found.name in k.reading and _NUMBERS.fullmatch(found.value) is not None


def _in_words(k: Knowledge, found: typed.Typed, line: str) -> typed.Typed | None:
    """What free words show, where they would be noted of one other symptom or check that shows the same."""
    said = [s for s in sayings.understand(k, line) or sayings.understand(k, found.value) if s.kind != "unread"]
    if len(said) != 1 or said[0].kind != "finding" or said[0].name == found.name:
        return None
    return typed.Typed(found.name, said[0].value) if said[0].value in k.check[found.name].outcomes else None


def _of_the_shown(call: BenchCall, line: str) -> typed.Typed | None:
    """What the check that is asked or advised showed, of a line that names the thing looked at and its outcome; None where the
    machine is in a state in which it tells nothing, so that the words are of that state."""
    name = call.question.name if call.question else call.shown
    check = call.visit.knowledge.check.get(name)
    if check is None or call.visit.state & {*check.unless_open}:
        return None
    looked_at = {*fold(name).split("_"), *fold(_thing(check)).split("_")}
    words = [w for w in re.findall(r"[a-z0-9]+", line.casefold()) if w not in _BETWEEN]
    for count in range(1, len(words)):
        found = typed.Typed(name, " ".join(words[count:]))
        shown = next((o for o, w in check.outcomes.items() if fold(found.value) in (fold(o), _bare(w))), None)
        if shown and looked_at.issuperset(words[:count]):
            return typed.Typed(name, shown)
    return None


def _thing(check: Check) -> str:
    """What a check looks at, of its title: "Look at the gas cock handle"."""
    return check.title.partition(" at ")[2]


def _bare(words: str) -> str:
    return "_".join(w for w in fold(words).split("_") if w not in _BETWEEN)
