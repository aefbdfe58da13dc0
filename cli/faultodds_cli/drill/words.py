"""What an apprentice's line means: his odds, or what he does next, by the names and the hearing of the guided call."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from faultodds.errors import FaultoddsError, UnknownName
from faultodds.names import fold, match
from faultodds_cli.drill.trade_names import checks_called, trade_names
from faultodds_cli.shared.text import WHAT_TELLS

if TYPE_CHECKING:
    from faultodds.knowledge import Knowledge, Work

Kind = Literal["ask", "check", "repair", "state", "close", "refer", "pause", "help", "list", "band", "card", "so_far"]

# Words of work that name a repair together with their part, as what was done is heard: clean the duct, wash the screen.
WORK = {
    **dict.fromkeys(("replace", "change", "fit"), "new"),
    **dict.fromkeys(("clean", "wash", "clear"), "cleaned"),
}
# Verbs of looking: what they begin is a check, or is asked about.
LOOKING = ("look", "inspect", "examine", "see", "watch", "view", "peek", "glance", "eyeball")
_A_LOOK = re.compile(r"(?i)^\s*(?:have|take|get) (?:a|another|one)(?: (?:good|quick|close|closer))? look\b")
# The first word of a line, and what kind of move it begins.
FIRST: dict[str, Kind] = {
    **dict.fromkeys(("ask",), "ask"),
    **dict.fromkeys(("check", "measure", "test", *LOOKING), "check"),
    **dict.fromkeys(("repair", *WORK), "repair"),
    **dict.fromkeys(("open", "shut"), "state"),
    **dict.fromkeys(("checks", "repairs", "questions", "faults"), "list"),
    **dict.fromkeys(("close", "done", "gone"), "close"),
    **dict.fromkeys(("refer", "hand"), "refer"),
    **dict.fromkeys(("pause", "leave", "quit", "exit"), "pause"),
    **dict.fromkeys(("help", "?"), "help"),
    **dict.fromkeys(("band",), "band"),
    **dict.fromkeys(("card", "why"), "card"),
    **dict.fromkeys(("story",), "so_far"),
}
_RUNS = frozenset({"run", "verify", "run_it", "test_run", "run_the_machine"})
_LOOKS = frozenset({"pause", "help", "so_far"})
_ALONE = frozenset({"close", "refer", *_LOOKS})
_FILLING = {
    "ask": ("about", "for", "the", "customer", "if", "of"),
    "check": ("at", "the", "for", "out"),
    **dict.fromkeys(("repair", "state"), ("the",)),
}
_AFTER = {"hand": ("over", "it", "the", "job", "on"), "close": ("gone",)}


@dataclass(frozen=True)
class Move:
    """What is done: its kind, and names of the knowledge file; for "state" items, those that end up open first."""

    kind: Kind
    names: tuple[str, ...] = ()
    shuts: tuple[str, ...] = ()


def move(k: Knowledge, line: str) -> Move:
    """The move that a line means. Raises FaultoddsError for anything that is not plainly one: a part is never changed, and a
    machine never opened, because a line sounded like it."""
    from faultodds.calibration import reads_as_odds

    line = _A_LOOK.sub("look", line)
    first, _, rest = line.strip().partition(" ")
    kind = FIRST.get(first.casefold())
    if fold(line) in _RUNS or (kind == "check" and fold(rest) in _RUNS):
        return Move("check", (k.costs.verify,))
    if kind in _ALONE:
        left = [w for w in rest.casefold().split() if w not in _AFTER.get(first.casefold(), ())]
        if left:
            told = " alone means that you leave; a panel goes back with shut and its name, and all of them before a run"
            raise FaultoddsError(
                f"'{line}': {first}{told if kind == 'close' else ' is typed alone'}. Type help for all."
            )
        return Move(kind)
    if first.casefold() == "shut" and (of_it := shut_off(k, line, asked=False)) is not None:
        return of_it
    if kind is not None:
        bare = _bare(kind, rest)
        work = WORK.get(first.casefold())
        return _work(k, work, first, bare, line) if work and bare else _named(k, kind, first, bare, line)
    if reads_as_odds(line):
        raise FaultoddsError(f"'{line}' reads as odds, and nothing was done.")
    return _said(k, line) or shut_off(k, line, asked=False) or _by_name(k, line)


def look(k: Knowledge, line: str) -> Move | None:
    """What a line only looks at, or that the drill is put aside; None for any other line."""
    first, _, rest = line.strip().partition(" ")
    kind = FIRST.get(first.casefold())
    if kind in _LOOKS and not rest:
        return Move(kind)
    if kind == "list":
        return Move(kind, (fold(first), rest.strip()))
    if (apart := WHAT_TELLS.fullmatch(line.strip())) is not None:
        from faultodds.cards import two_named

        return Move("card", two_named(apart[1]) or ())
    if kind == "card":
        return Move(kind, (rest.strip(),))
    return _named(k, kind, first, rest, line) if kind == "band" else None


def _bare(kind: str, rest: str) -> str:
    words = rest.split()
    while words and words[0].casefold() in _FILLING.get(kind, ()):
        words.pop(0)
    return " ".join(words)


def is_move(k: Knowledge, line: str) -> bool:
    """Whether a line says what is done, be it half said, and not how likely something is."""
    if FIRST.get(_A_LOOK.sub("look", line).strip().partition(" ")[0].casefold()) in ("ask", "check", "repair"):
        return True
    try:
        move(k, line)
    except FaultoddsError:
        return False
    return True


def _named(k: Knowledge, kind: Kind, first: str, rest: str, line: str) -> Move:
    if not rest:
        raise FaultoddsError(f"{first} what? Type {first} and a name; help tells where the names are.")
    if kind == "ask":
        titles = {n: s.title for n, s in k.symptom.items() if not s.looked_at} | {
            n: f.ask for n, f in k.context.items()
        }
        return Move("ask", (_matched("question", rest, titles, titles, "Type questions for all."),))
    if kind in ("check", "band"):
        return Move(kind, (_of_part(k, "check", rest, k.check, "Type checks for all."),))
    if kind == "repair":
        return Move("repair", _repairs(k, rest))
    titles = {n: a.title for n, a in k.access.items()}
    item = match("panel or shut-off", rest, titles, titles)
    if k.access[item].makes_safe:
        raise FaultoddsError(f"'{line}' can mean either. Type {k.access[item].makes_safe} off, or on.")
    return Move("state", (item,)) if first == "open" else Move("state", (), (item,))


def refuse_told(k: Knowledge, facts: Mapping[str, str], name: str) -> None:
    """Raise FaultoddsError for a question about what was told at the door."""
    from faultodds.job import typed

    if name in facts:
        raise FaultoddsError(f"{name} was told at the door: {typed.asked(k)[name].values[facts[name]]}.")


def _work(k: Knowledge, work: str, verb: str, text: str, line: str) -> Move:
    """The repairs that some work on some parts is: heard, or said by their titles. Raises FaultoddsError for work that is none;
    what is done there is only named."""
    from faultodds.job import sayings

    said = sayings.understand(k, f"{work} {text}")
    if said and all(s.kind == "repair" for s in said):
        return Move("repair", tuple(s.name for s in said))
    try:
        names = _repairs(k, f"{verb} {text}")
    except UnknownName:
        names = _repairs(k, text)
    if all({work, fold(verb)} & set(fold(k.repair[n].title).split("_")) for n in names):
        return Move("repair", names)
    there = " / ".join(f"repair {n} ({k.repair[n].title})" for n in names)
    raise FaultoddsError(f"'{line}' is not plainly a repair here, and nothing was done. If it is meant, type: {there}")


def _repairs(k: Knowledge, text: str) -> tuple[str, ...]:
    from faultodds.job import repairs_on

    try:
        return tuple(repairs_on(k, text))
    except UnknownName:
        named = (t for part in re.split(r"\s+and\s+|\s*,\s*", text) for t in [_bare("repair", part)] if t)
        return tuple(_of_part(k, "repair", t, k.repair, "Type repairs for all.") for t in named)


def machine(k: Knowledge, line: str) -> Move | None:
    """What a line says was done to the machine ("plug out, gas off"), or None; what of it was not understood is left out."""
    from faultodds.job import sayings

    titled = [i for i, a in k.access.items() if fold(line) == fold(a.title)]
    if titled:
        return Move("state", (titled[0],))
    said = [s for s in sayings.understand(k, line) if s.kind == "machine"]
    items = [(sayings.machine_item(k, s.name), s.value) for s in said]
    opens = tuple(i for i, value in items if i is not None and value == "off")
    shuts = tuple(i for i, value in items if i is not None and value == "on")
    return Move("state", opens, shuts) if items else None


def shut_off(k: Knowledge, line: str, asked: bool = True) -> Move | None:
    """What a line shuts off, and what it leaves on: as the guided call hears it, or in words that speak of nothing else: "pull
    the plug and shut the cock". Where just that was `asked`, the names are enough: "power and gas", "both"."""
    said, verb = machine(k, line), asked
    found, kept = (list(said.names), list(said.shuts)) if said else ([], [])
    safe = {i: a.makes_safe for i, a in k.access.items() if a.makes_safe}
    for part in re.split(r"[,;.]|\b(?:and|then)\b", line.casefold().replace("\u2019", "'")):
        verb = bool(_SHUTTING.search(part)) or verb
        every = asked and _EVERY.search(part)
        called = [i for i, what in safe.items() if every or re.search(_CALLED[what], part)]
        if _KEPT.search(part):
            kept += called
        elif verb and not _LEFT_ON.search(part) and not _OF_IT.sub("", part).strip():
            found += called
    return Move("state", tuple(dict.fromkeys(found)), tuple(kept)) if found or kept else None


_CALLED = {
    # a breaker or wall switch that is off is no plug that is out
    "power": r"\b(?:un)?plug\w*|\b(?:power|electric\w*|cord)\b"
    r"|^(?!.*\b(?:gas|cock|tap|valve)\b).*\b(?:out of|from) (?:the )?(?:wall|socket)\b",
    "gas": r"\b(?:gas|cock|tap|valve)\b",
}
_EVERY = re.compile(
    r"\b(?:both|everything|the lot|all of (?:it|them|that)|all (?:two|three)|(?:it )?all off)\b|^\s*all\s*$"
)
_SHUTTING = re.compile(r"\b(?:off|out|pull\w*|unplug\w*|disconnect\w*|cut|kill|isolat\w*|shut|clos\w*)\b")
_KEPT = re.compile(r"\bleav\w*\b.*\bon\b|\b(?:both|all of (?:it|them)) on\b")
_LEFT_ON = re.compile(r"\b(?:not?|dont|don't|never|leav\w*|on|open\w*|without|nothing|later|after\w*|maybe)\b|\?")
_OF_IT = re.compile(
    "|".join(p.pattern for p in (_EVERY, _SHUTTING))
    + f"|{_CALLED['power'].partition('|^')[0]}|{_CALLED['gas']}"
    + r"|\b(?:i'd|id|i'll|ill|i|we|would|will|the|a|my|its|it|dryer'?s?|machine'?s?|at|from|of|to|in|wall|supply|lead|line"
    r"|first|just|only|also|please|yes|turn|switch|go|main|both)\b|[^\w?]+"
)
# An answer that is plainly none of what is to be shut off.
SHUTS_NOTHING = re.compile(
    r"(?i)\s*(?:no,? )?(?:no|nope|nah|none|neither|nothing\b.*|no need\b.*|not (?:needed|necessary)\b.*"
    r"|that(?:'?s| is) (?:all|it)\b.*"
    r"|(?:i )?(?:do not|don'?t|would not|wouldn'?t) (?:shut|need|bother|turn|have to)\b.*)\s*[.!]*\s*"
)
NEVER_MIND = re.compile(
    r"(?i)\s*(?:never ?mind|cancel|forget it|leave it|wait|stop|back|go back|undo|changed my mind|i changed my mind|no wait"
    r"|no,.*|something else)\s*[.!]*\s*"
)


def _said(k: Knowledge, line: str) -> Move | None:
    """A line in a technician's own words; what sounds like work done or planned is asked for by its word."""
    from faultodds.job import sayings

    said = sayings.understand(k, line)
    named = [s for s in said if s.kind in ("repair", "undone") and s.name]
    if named:
        raise FaultoddsError(f"Nothing was done. To do it, type: repair {named[0].name}")
    if any(s.kind == "unread" for s in said):
        raise FaultoddsError(
            f"'{line}' is not understood in full, and nothing was done. One thing a line, such as: gas off"
        )
    return machine(k, line)


def _by_name(k: Knowledge, line: str) -> Move:
    """A bare name: a check or a question. A part is changed only on the word."""
    seen = {**k.check, **{n: s for n, s in k.symptom.items() if not s.looked_at}}
    titles = {n: each.title for n, each in seen.items()}
    if fold(line) in k.repair and fold(line) not in seen:
        raise FaultoddsError(f"{line}: to change or mend it, type repair {line}; to look or measure, check and a name.")
    try:
        name = _matched("check or question", line, seen, titles, "")
    except UnknownName as problem:
        raise UnknownName(f"{str(problem).strip()} Type help for what can be typed.") from None
    return Move("check" if name in k.check else "ask", (name,))


def fault(k: Knowledge, text: str) -> str:
    """The component that a fault's name stands for: its own, a mode's in full, or what the trade calls it."""
    from faultodds.calibration import faults

    modes = {fold(name): name.partition(".")[0] for name, _ in k.modes()}
    titles = {n: c.title for n, c in k.component.items()} | {
        "unlisted": "something else",
        "nothing_wrong": "nothing wrong",
    }
    known = {**trade_names(k.appliance.id, tuple((n, tuple(r.fixes)) for n, r in k.repair.items())), **modes}
    found = known.get(fold(text)) or _of_mode(k, text) if text not in titles else text
    return found or _matched("fault", text, faults(k), titles, "Type faults for all.")


def _of_mode(k: Knowledge, text: str) -> str:
    """The component of the one way to be bad that a spelling of the trade names: "motor switch"."""
    from faultodds.cards import mode_called

    return mode_called(k, text).partition(".")[0]


def _matched(kind: str, text: str, names: Iterable[str], titles: Mapping[str, str], then: str) -> str:
    """`names.match`, without the long list of all that is known."""
    try:
        return match(kind, text, names, titles)
    except UnknownName as problem:
        raise UnknownName(f"{str(problem).partition(' Known:')[0]} {then}".strip()) from None


def _of_part(k: Knowledge, kind: str, text: str, names: Mapping[str, Work], then: str) -> str:
    """A check or repair by its name, as the only one of a part ("replace the glow bar"), or a check as the only one that speaks of
    all that was said: "look at the hood with a lamp"."""
    titles = {n: w.title for n, w in names.items()}
    try:
        return _matched(kind, text, names, titles, then)
    except UnknownName as problem:
        if kind == "check" and (called := checks_called(k.appliance.id).get(fold(text))) in names:
            return str(called)
        try:
            part = fault(k, text) if "more than one" not in str(problem) else ""
        except UnknownName:
            part = ""
        spoken = _speak_of(text, titles) if kind == "check" else []
        if len(spoken) == 1:
            return spoken[0]
        of_it = [n for n, w in names.items() if part in {t.partition(".")[0] for t in _about(w)}] or spoken
        if len(of_it) == 1:
            return of_it[0]
        if not of_it and "Did you mean" not in str(problem):
            of_it = _speak_of(text, titles, in_part=True) if kind == "check" else []
        if not of_it:
            raise
        raise UnknownName(f"'{text}' may mean {', '.join(of_it[:6])}. Type one of those names.") from None


def _speak_of(text: str, titles: Mapping[str, str], in_part: bool = False) -> list[str]:
    """The names whose titles have all the telling words of a text, or `in_part` as many as any has; looks first."""
    said = {*fold(text).split("_")} - _LITTLE
    words = {n: {*fold(n).split("_"), *fold(title).split("_")} for n, title in titles.items()}
    most = max(len(said & each) for each in words.values()) if in_part else len(said)
    return sorted((n for n in words if len(said & words[n]) == most > 0), key=lambda n: words[n].isdisjoint(LOOKING))


_LITTLE = frozenset(
    fold("a an the at in into to of on over up down with and by if it its is for out from my your").split("_")
)


def _about(work: Work) -> Iterable[str]:
    from faultodds.knowledge import Repair

    return work.fixes if isinstance(work, Repair) else getattr(work, "depends_on", ())


def in_words(k: Knowledge, text: str) -> str:
    """A text with what was found as one says it, instead of as it is typed."""
    seen = k.observables

    def said(found: re.Match[str]) -> str:
        name, outcome = found.groups()
        there = name in seen and outcome in seen[name].outcomes
        return f"'{seen[name].title}: {seen[name].outcomes[outcome]}'" if there else found[0]

    return re.sub(r"(\w+)=(\w+)", said, text)


def odds(k: Knowledge, line: str, kept: dict[str, float]) -> tuple[dict[str, float], list[str]]:
    """The odds on a line beside those that were `kept`, and what of it is to be asked about; in place of them where one of them
    is named again, or it is said anew ("now duct 60"). Raises FaultoddsError where nothing can be taken."""
    from faultodds.calibration import NAMED, said

    typed, unclear = said(line)
    found = list[tuple[str, float]]()
    for name, p in typed:
        try:
            found.append((fault(k, name), p))
        except UnknownName as problem:
            unclear.append(str(problem))
    if unclear and not found:
        raise FaultoddsError(unclear[0])
    again = dict(found)
    if len(again) < len(found):
        raise FaultoddsError("one fault stands there twice. Give each once.")
    named = again if kept.keys() & again or _NOW.match(line) else {**kept, **again}
    if len(named) > NAMED:
        raise FaultoddsError(f"that is {len(named)} faults; give the {NAMED} you believe in most.")
    return named, unclear


_NOW = re.compile(r"(?i)\s*(?:no\s*,|now\b|my odds\b|actually\b)")


def odds_words(named: dict[str, float], rest: bool = False) -> str:
    """Odds as they are said back, with what is left for anything else; together 100 %."""
    from faultodds.advice import percents

    whole = percents([*named.values(), 1.0 - sum(named.values())])
    parts: Sequence[str] = [f"{name.replace('_', ' ')} {p}" for name, p in zip(named, whole, strict=False)]
    return (", ".join(parts) or "no idea") + (f"; anything else {whole[-1]}" if rest else "")
