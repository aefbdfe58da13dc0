"""What takes back, on a line, what stands before it: "hood strong, scratch that, weak", "unplugged. wait no its not".

What is right is taken where it is one value of the one thing that was spoken of before; else nothing of the line is, and it is
asked. The words are in `grammar.toml` `[taken_back]`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from itertools import islice

from msgspec import Struct

from faultodds.job.clauses import clauses
from faultodds.job.said import Said
from faultodds.job.words import TYPO_LENGTH, grammar, listed, slipped, words_of
from faultodds.knowledge import Knowledge

Understand = Callable[[Knowledge, str], list[Said]]

# A line with more words than these that may take something back is asked: each is read with all that stands before it.
MOST = 5
_CLEAR = ("finding", "fact", "machine", "repair", "tool", "hands", "ask", "noted")
_STOPS = r"[\s,.;:!()\u2013\u2014-]"


class Retraction(Struct, frozen=True):
    """What stands `before` the `word` that may take it back, and what comes `after`.

    `soft`: it does so only where something is understood before it; `joined`: it ends in a "no" with no stop behind, which may be
    the "no" of what comes after.
    """

    before: str
    word: str
    after: str
    soft: bool
    joined: bool


def takes_back(line: str) -> str:
    """The words of a line that take something back whatever stands before them, or none."""
    return next((each.word for each in _retractions(line) if not each.soft), "")


def taken_back(knowledge: Knowledge, line: str, understand: Understand) -> list[Said]:
    """What a line comes to that takes back some of itself: what is right, or a question. Empty when it takes nothing back.

    `understand` says what a part of it means by itself.
    """
    backs = [*islice(_retractions(line), MOST + 1)]
    if len(backs) > MOST:
        told = f"'{backs[0].word}' may take back what stands before it, and so may others. Nothing was noted: type it part by part."
        return [Said("ask", f"'{line.strip()}': {told}", "", line)]
    for back in backs:
        if back.soft and back.before.endswith("="):  # the "no" of NAME=no
            continue
        if not back.before:
            if back.soft:
                continue
            return _from_the_start(knowledge, back, line, understand)
        earlier = understand(knowledge, back.before)
        if back.soft and not any(s.kind in _CLEAR for s in earlier):
            continue
        right = _right(knowledge, back, earlier, understand)
        if right and not back.joined:
            return [right]
        its_own = right is None or right in earlier or " " in back.after
        if back.word == "no" and back.joined and its_own and not _denies(back.after):
            continue  # "duct clear, no lint", "harness good, no loose plugs"; but "hood strong no weak"
        told = f"'{back.word}' takes back what stands before it, so nothing was noted. Type what is so, by itself"
        return [Said("ask", f"'{line.strip()}': {told}{_such_as(knowledge, earlier)}.", "", line)]
    return []


def _retractions(line: str) -> Iterator[Retraction]:
    """Where a line may take back what stands before, the surest first."""
    text = re.sub(
        r"[A-Za-z]+", lambda found: _put_right(found[0].casefold()) or found[0], re.sub(r"['\u2019]", "", line)
    )
    sure, soft = _patterns()
    for pattern in (sure, soft):
        for at in pattern.finditer(text):
            word, behind = at["word"].casefold(), text[at.end("word") :]
            after = re.sub(rf"(?i)^(?:no\b(?=\s*[,.;:]))?{_STOPS}*", "", behind.strip(" ,.;:!-"))
            joined = pattern is soft and word.endswith("no") and bool(re.match(r"\s+\w", behind))
            if not _is_another_word(word, after):
                yield Retraction(text[: at.start()].strip(" ,.;:-"), word, after, pattern is soft, joined)


def _from_the_start(knowledge: Knowledge, back: Retraction, line: str, understand: Understand) -> list[Said]:
    """What a line means that begins with a taking back: it is of what was typed before it."""
    rest = understand(knowledge, back.after) if back.after else []
    if rest and all((s.kind, s.value) == ("machine", "on") for s in rest):
        return rest
    if not back.after and re.fullmatch(f"{_any('verbs')} {_any('objects')}", back.word):
        return [Said("command", "undo", "", line)]
    told = "nothing was noted, and nothing taken back. undo takes back the last entry, take back NAME an older one"
    return [Said("ask", f"'{line.strip()}': {told}. Then type what is so, by itself.", "", line)]


def _right(knowledge: Knowledge, back: Retraction, earlier: Sequence[Said], understand: Understand) -> Said | None:
    """The one value that is right of the one thing spoken of before; None where it is not plain, takes back a danger, or says that
    the machine is safe after all."""
    if len(earlier) != 1 or not back.after or _denies(back.after):
        return None
    was, after = earlier[0], re.sub(rf"(?i)^(?:{_any('leads')}\b{_STOPS}+)+", "", back.after)
    said = understand(knowledge, after) or understand(
        knowledge, f"{_words(knowledge, back.before, was.kind == 'repair')} {after}"
    )
    if len(said) != 1 or said[0].kind != was.kind or (was.kind != "repair" and said[0].name != was.name):
        return None
    if was.kind == "machine":
        return said[0] if said[0].value == "on" else None
    seen = knowledge.observables.get(was.name) if was.kind == "finding" else None
    dangerous = seen is not None and was.value in seen.bars and said[0].value != was.value
    return said[0] if was.kind in ("finding", "fact", "repair") and not dangerous else None


def _words(knowledge: Knowledge, text: str, work: bool) -> str:
    """The parts that a text speaks of, or the verbs of its work: what a bare value behind is said of."""
    words = words_of(knowledge.appliance.id)
    items = [i for thought in clauses(words, text) for piece in thought for i in piece] if words else []
    of = frozenset[str]() if words is None else words.verbs if work else words.nouns
    return " ".join(i.text for i in items if i.names & of)


def _denies(after: str) -> bool:
    """Whether what comes after does nothing but deny what stood before: "its not"."""
    return bool(re.fullmatch(grammar()["taken_back"]["denied"], after.casefold()))


def _is_another_word(word: str, after: str) -> bool:
    """Whether a word takes nothing back here: "waiting for", "sorry" at the end."""
    if not after:
        return word in listed(grammar()["taken_back"]["mild"])
    return word in ("wait", "i meant", "hold on", "hang on") and bool(re.match(rf"(?i){_any('goes_on')}\b", after))


def _such_as(knowledge: Knowledge, earlier: Sequence[Said]) -> str:
    """How to type what is so of what was spoken of before."""
    if any(s.kind == "machine" for s in earlier):
        return ", such as: unplugged, gas off"
    names = [s.name for s in earlier if s.kind == "finding"]
    return f", such as: {names[0]}={' | '.join(knowledge.observables[names[0]].outcomes)}" if names else ""


@cache
def _patterns() -> tuple[re.Pattern[str], re.Pattern[str]]:
    """What takes back whatever stands before, and what may."""
    first, stop, end = (
        rf"(?:\b{_any('before')}\b{_STOPS}*)*",
        r"(?:^|(?<=[,.;:!-])|(?<=[,.;:!-] ))",
        r"(?=\s*(?:$|[,.;:!]))",
    )
    always = rf"{_any('verbs')} {_any('objects')}\b|{_any('always')}\b|{_any('last')}{end}|{stop}{_any('alone')}{end}"
    return re.compile(rf"(?i){first}\b(?P<word>{always})"), re.compile(rf"(?i)\b(?P<word>{_any('soft')})\b")


def _any(name: str) -> str:
    words = sorted(map(re.escape, listed(grammar()["taken_back"][name])), key=len, reverse=True)
    return f"(?:{'|'.join(words)})"


@cache
def _put_right(word: str) -> str:
    """The word that takes back which this one misses by a slip, or none."""
    own = grammar()["taken_back"]
    slips = dict(each.split(":") for each in listed(own["slips"]))
    if right := next((known for known, wrong in slips.items() if word in wrong.split()), ""):
        return right
    known = listed(own["mended"])
    if len(word) < TYPO_LENGTH - 1 or word in known:
        return ""
    return next((each for each in known if each[0] == word[0] and slipped(word, each)), "")
