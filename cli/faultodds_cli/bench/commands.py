"""The words a guided call knows besides findings: one short function each."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from faultodds.advice import left_off, question_of
from faultodds.errors import FaultoddsError, UnknownName
from faultodds.job import ENDED, owed_on, reason_owed, repairs_on, typed
from faultodds.names import fold, match
from faultodds_cli.bench.call import BenchCall
from faultodds_cli.bench.machine import says_yes
from faultodds_cli.bench.show import fact_lines, how_lines, symptom_lines, why_check_lines
from faultodds_cli.shared import show_job
from faultodds_cli.shared.show_advice import check_lines, repair_lines
from faultodds_cli.shared.show_known import evidence_lines, left_out_lines
from faultodds_cli.shared.talk import LEAVES
from faultodds_cli.shared.text import WHAT_TELLS, labelled, numbered, sentence

_ASKED_HOW = re.compile(
    r"(?i)^(?:do|to|should|can)\s+(?:i|you|we)?\s*(?:test|check|do|measure|change|clean|find|get at)?\s*(?:the|my)?\s*"
)

_ABOUT = re.compile(r"(?i)^(?:(?:about|at|for|if|of|the|there is|customer)\s+)+")
# With more checks than this gone at once they are counted, not named.
MOST_NAMED = 3


@dataclass(frozen=True)
class Command:
    """A word, how it is typed, what it does, and the function that does it: true when the screen is to be
    shown anew."""

    usage: str
    help: str
    run: Callable[[BenchCall, str], bool]


WHO_SAYS_SO = "Who says so, how was it made sure, and what did that show? A few words, or leave:"


def help_(call: BenchCall, rest: str) -> bool:
    """What can be typed."""
    if rest:
        command = COMMANDS[match("command", rest.split()[0], COMMANDS, next_step="Type help for all.")]
        call.talk.tell(f"{command.usage}: {command.help}")
        return False
    call.talk.tell("Type what you found: 2 weak, hood_flap weak, ig oh open, coil_ohms 1.15k/1.35k/550,")
    call.talk.tell("or not sure: hood_flap weak 70 / strong 30. Names may be shortened. Or a word:")
    for command in COMMANDS.values():
        call.talk.say(labelled(f"  {command.usage} ", command.help, 25))
    return False


def odds(call: BenchCall, rest: str) -> bool:
    """All the odds, and what is known."""
    view = call.visit.now
    call.talk.say(show_job.odds_lines(call.visit, 15))
    call.talk.say([*evidence_lines(view), *left_out_lines(view)])
    return False


def checks(call: BenchCall, rest: str) -> bool:
    """Every check that can be done now, numbered."""
    view = call.visit.now
    call.numbered = [c.name for c in view.advice.listed_checks]
    call.talk.say(check_lines(view, view.advice.listed_checks))
    return False


def repairs(call: BenchCall, rest: str) -> bool:
    """Repairs worth naming."""
    call.talk.say(repair_lines(call.visit.now, 10) or ["No repair is worth naming yet."])
    return False


def why(call: BenchCall, rest: str) -> bool:
    """Why the odds are as they are, a check pays, a fault leads or does not, and what parts two."""
    from faultodds_cli.shared.show_fault import why_told

    told = why_told(call.visit, rest, call.numbered)
    call.talk.say(why_check_lines(call.visit, told) if isinstance(told, str) else told)
    return False


def how(call: BenchCall, rest: str) -> bool:
    """Steps and cautions of one check or repair."""
    rest = _ASKED_HOW.sub("", rest)
    if not rest and call.asked:
        call.talk.tell(f"A question, or a glance at the machine: {question_of(call.visit.knowledge, call.asked).text}")
        return False
    k = call.visit.knowledge
    if symptom := next((n for n, s in k.symptom.items() if fold(rest) in (fold(n), fold(s.title))), None):
        return ask(call, symptom)
    name, _ = typed.work(k, rest or call.advised(), call.numbered)
    call.talk.say(how_lines(call.visit, name))
    call.told.add(name)
    return False


def ask(call: BenchCall, rest: str) -> bool:
    """What to ask or look for, by its name: it is asked, and nothing is entered by asking."""
    k, facts = call.visit.knowledge, typed.asked(call.visit.knowledge)
    words = {n: o.title for n, o in k.observables.items()} | {n: f.ask for n, f in facts.items()}
    name = match("symptom, check or fact", _ABOUT.sub("", rest), words, words, "Type symptoms or checks for all.")
    if name in facts:
        call.talk.tell(f"{facts[name].ask} {name}={' | '.join(facts[name].values)}", "?  ")
        return False
    return call.enter(name, "")


def skip(call: BenchCall, rest: str) -> bool:
    """Cannot do that now."""
    k = call.visit.knowledge
    name, _, reason = (rest or call.asked).partition(" ")
    if name not in {**k.symptom, **typed.asked(k), **k.check, **k.repair}:  # a name in full: the rest is the reason
        name, reason = typed.work(k, rest or call.advised(), call.numbered)
    call.visit.skip(name, reason)
    call.talk.tell(f"{name} is not offered any more on this visit; enter it all the same if you can do it after all.")
    return True


def missing(call: BenchCall, rest: str) -> bool:
    """A tool is not there: what needs it is not offered."""
    tool, gone = call.visit.without(rest)
    titles = [call.visit.knowledge.check[name].title for name in gone]
    what = f"{len(gone)} checks that need it" if len(gone) > MOST_NAMED else "; ".join(titles)
    call.talk.tell(
        f"No {tool}: not offered any more on this visit: {sentence(what or 'nothing that was')} Here after all: take back {tool}"
    )
    return bool(gone)


def undo(call: BenchCall, rest: str) -> bool:
    """Take back the last entry, or an older one by its name; where the last line left none, only when it is asked for twice."""
    if call.unnoted and not rest and call.visit.job.steps:
        last = show_job.step_text(call.visit.knowledge, call.visit.job.steps[-1])
        call.talk.tell(
            f"Nothing was noted of '{call.unnoted}'. To take back what was noted before it ({last}): undo once more."
        )
        return False
    taken = call.visit.take_back(rest) if rest else call.visit.undo()
    call.talk.tell(f"Taken back: {'; and '.join(show_job.step_text(call.visit.knowledge, s) for s in taken)}.")
    for text in show_job.no_longer_stops(call.visit.knowledge, taken):
        call.talk.tell(text, "!! ")
    call.try_doubted_again()
    return True


def fact(call: BenchCall, rest: str) -> bool:
    """Enter or correct intake facts, or list them."""
    if not rest:
        call.talk.say(fact_lines(call.visit))
        return False
    for given in call.visit.facts(typed.facts(call.visit.knowledge, rest)):
        call.talk.tell(f"Noted: {given.name} = {given.value}.")
    return True


def repair(call: BenchCall, rest: str) -> bool:
    """Repairs were done, one or several."""
    if not rest:
        return repairs(call, rest)
    k = call.visit.knowledge
    state = call.visit.state
    names = repairs_on(k, rest)
    guess = call.guess(names)
    done = call.visit.fixes(names, by=call.who_did(names), bring=guess is None)
    titles = " and ".join(k.repair[each.name].title for each in done if each.name not in call.visit.job.awaited)
    shut = call.visit.left_off or call.visit.job.awaited
    then = "Leave it shut off; it is not run yet." if shut else f"When it has run, type: verify {call.verify_words()}."
    call.talk.tell(f"Repaired: {titles}. {then}" if titles else "Noted as awaited, not as done.")
    if closing := [] if done[-1].name in call.told else call.visit.put_back(done[-1].name, state):
        call.talk.tell("Closing it up again is:")
        call.talk.say(numbered(closing))
    call.tell_state(state, guess)
    return True


def verify(call: BenchCall, rest: str) -> bool:
    """How the run after a repair ended."""
    run = call.visit.knowledge.costs.verify
    return call.enter(run, typed.value_of(call.visit.knowledge, run, rest))


def again(call: BenchCall, rest: str) -> bool:
    """A deliberate re-measurement: counts beside the earlier one."""
    if not rest:
        raise FaultoddsError("again what? Type for example: again hood_flap weak.")
    found = typed.findings(call.visit.knowledge, rest, call.numbered)
    taken = [call.enter(each.name, each.value, again=True) for each in found]
    return any(taken)


def state(call: BenchCall, rest: str) -> bool:
    """What is open, shut off or moved."""
    call.talk.say(show_job.state_lines(call.visit))
    return False


def open_(call: BenchCall, rest: str) -> bool:
    """Correct the machine's state: an item is open, shut off or moved."""
    return _set_open(call, rest, True)


def shut(call: BenchCall, rest: str) -> bool:
    """Correct the machine's state: an item is not."""
    return _set_open(call, rest, False)


def _set_open(call: BenchCall, rest: str, is_open: bool) -> bool:
    if not rest:
        return state(call, rest)
    call.visit.set_open(rest, is_open)
    return True


def refuse_two_ways(call: BenchCall, word: str, rest: str) -> None:
    """Raise FaultoddsError for "open" and "shut" with an item that is a state itself: "shut unplugged" may mean either."""
    access = call.visit.knowledge.access
    try:
        name = match("access item", rest, access, {n: a.title for n, a in access.items()})
    except UnknownName:
        return
    shuts = access[name].makes_safe
    if shuts and fold(rest) not in (shuts, f"{shuts}_cock"):
        raise FaultoddsError(f"'{word} {rest}' can mean either. Type {shuts} off, or {shuts} on.")


def symptoms(call: BenchCall, rest: str) -> bool:
    """The symptoms, numbered."""
    call.numbered = call.symptoms()
    call.talk.say(symptom_lines(call.visit, call.numbered))
    return False


def note(call: BenchCall, rest: str) -> bool:
    """Free text with the job."""
    call.visit.note(rest)
    call.talk.tell("Noted.")
    return False


def safe(call: BenchCall, rest: str) -> bool:
    """It is safe again, on a job that was stopped."""
    call.visit.safe(rest or call.talk.answer(WHO_SAYS_SO))
    for text in owed_on(call.visit.appliance, call.visit.job):
        call.talk.tell(text, "!! ")
    return True


def story(call: BenchCall, rest: str) -> bool:
    """The job from its beginning."""
    call.talk.say(show_job.story_lines(call.visit))
    return False


def close(call: BenchCall, rest: str) -> bool:
    """How the call ended; when it came back, what is wrong is asked again."""
    word, day, reason = _ending(rest)
    steps = call.visit.closing_up(word)
    unverified, stopped = call.visit.unverified, call.visit.out_of_service(word)
    if word == "gone" and not call.visit.job.is_closed and not stopped:
        steps = _put_back(call, steps)
        reason = reason or _why_gone(call)
    closed = call.visit.close(word, day, reason)
    if closed.outcome == "came_back":
        call.talk.tell(f"Noted: came back on {closed.on}. The job is open again; the machine is taken as closed up.")
        call.numbered = call.symptoms()
        call.talk.tell("What is wrong now? Several on a line: 1=2 heat=none. A number alone means yes.")
        call.talk.say(symptom_lines(call.visit, call.numbered))
        return False
    if closed.outcome == "gone" and unverified:
        call.talk.tell("Closed without a run after the last repair: the job says so.", "!! ")
    for text in owed_on(call.visit.appliance, call.visit.job):
        call.talk.tell(text, "!! ")
    if stopped:
        call.talk.tell(f"The machine is left out of service: {', '.join(stopped)}.", "!! ")
    if steps:
        call.talk.tell(left_off(call.visit.knowledge) if stopped else "Before you go, put the machine back:")
        call.talk.say(numbered(steps))
    call.talk.tell(f"Job {call.visit.job.id} is closed: {ENDED[closed.outcome]}.")
    call.over = True
    return False


def _ending(rest: str) -> tuple[str, str | None, str]:
    """How it ended, the day, and the reason: "came back 2025-03-31 same again"."""
    words = rest.split()
    if not words:
        raise FaultoddsError("close how? Type close gone, close referred, or close came back YYYY-MM-DD.")
    count = 2 if fold(" ".join(words[:2])) == "came_back" else 1
    how, more = fold(" ".join(words[:count])), words[count:]
    if how not in ("gone", "referred", "came_back"):
        count = next((i for i, word in enumerate(words) if word[:1].isdigit()), len(words))
        how, more = " ".join(words[:count]), words[count:]
    day = more.pop(0) if more and (how == "came_back" or more[0][:1].isdigit()) else None
    return how, day, " ".join(more).lstrip("-:,; ")


def _put_back(call: BenchCall, steps: list[str]) -> list[str]:
    """Ask for the machine to be put back together; what is left of it to do, nothing. Raises FaultoddsError unless it is plainly
    done."""
    if steps:
        call.talk.tell("First put the machine back:")
        call.talk.say(numbered(steps))
        if not says_yes(call.visit, call.talk, "Is all of that done? (yes or no)"):
            raise FaultoddsError("The job stays open. When it is all put back, type close gone again.")
        call.visit.set_state(dict.fromkeys(call.visit.state, False))
    return []


def _why_gone(call: BenchCall) -> str:
    """Why it is gone, asked when nothing shows that it is; raises FaultoddsError when nobody says."""
    owed = reason_owed(call.visit.knowledge, call.visit.job)
    if not owed:
        return ""
    reason = call.talk.answer(f"{owed} Why is it gone? A few words:")
    if not reason or exact(reason.split()[0]) is not None or len(reason.split()) < 2:
        said = f" ('{reason}' is a word of this program, and was not done.)" if reason else ""
        raise FaultoddsError(f"The job stays open.{said} To close it, type close gone and the reason.")
    return reason


def leave(call: BenchCall, rest: str) -> bool:
    """Save and leave."""
    call.over = True
    call.talk.say(call.goodbye())
    return False


COMMANDS: dict[str, Command] = {
    "help": Command("help [WORD]", "this list", help_),
    "how": Command("how [CHECK|REPAIR]", "its steps and cautions from where the machine is now", how),
    "why": Command(
        "why [WHAT]",
        "why these odds (why all: the full sum); why a check, a part, not a part: why 1, why coils, why not the igniter; "
        "what tells coils from igniter",
        why,
    ),
    "odds": Command("odds", "all fault odds, and what is known", odds),
    "checks": Command("checks", "every check that can be done now, numbered", checks),
    "repairs": Command("repairs", "repairs with the chance that each is the one", repairs),
    "symptoms": Command("symptoms", "every symptom, numbered", symptoms),
    "ask": Command("ask WHAT", "a symptom, check or fact by its name: what can be answered", ask),
    "skip": Command("skip NAME [REASON]", "cannot do that now: it is not offered again", skip),
    "missing": Command(
        "missing TOOL",
        "a tool is not there (or: no multimeter): what needs it is not offered; take back multimeter",
        missing,
    ),
    "again": Command("again CHECK VALUE", "measured anew on purpose: counts beside the first", again),
    "undo": Command("undo [NAME]", "take back the last entry; or an older one: take back coil_ohms", undo),
    "fact": Command("fact [K=V ...]", "enter or correct what was asked at the start, or list it", fact),
    "repair": Command("repair NAME ...", "you did this repair, or these", repair),
    "verify": Command("verify OUTCOME", "how the run after a repair ended", verify),
    "state": Command("state", "what is open, shut off or moved", state),
    "open": Command("open ITEM", "correct that: it is open, shut off or moved", open_),
    "shut": Command("shut ITEM", "correct that: it is closed, on or back in place", shut),
    "note": Command("note TEXT", "keep a remark with the job", note),
    "safe": Command("safe WHO, HOW", "it is safe again, on a job that was stopped", safe),
    "story": Command("story", "the job from its beginning", story),
    "close": Command("close HOW [WHY]", "gone (the fault), referred, or came back YYYY-MM-DD", close),
    "leave": Command("leave", "save and leave; everything is saved already", leave),
}
# Words of their own: none of them is short for `note`, `close` or anything else.
_NEVER_SHORT = frozenset({"no", "not", "dont", "on", "off"})
_TAKE_BACK = re.compile(
    r"(?i)take\s+back\s+(?!(?:the\s+)?(?:last|that|it)\b)(?:the\s+)?(\S.*)|take\s+(?!(?:that|it)\b)(?:the\s+)?(\S+)\s+back"
)
_SAME = {"card": "why", "?": "help", "facts": "fact", **dict.fromkeys(LEAVES, "leave")}


def exact(word: str) -> str | None:
    """The command that a word is, in full."""
    name = _SAME.get(word.casefold(), fold(word))
    return name if name in COMMANDS else None


def as_command(line: str) -> str:
    """ "take back coil_ohms" as "undo coil_ohms", "what tells coils from igniter" as "why coils from igniter"; any other line as
    it is."""
    found = _TAKE_BACK.fullmatch(line.strip())
    if found:
        return f"undo {found[1] or found[2]}"
    asked = WHAT_TELLS.fullmatch(line.strip())
    return f"why {asked[1]}" if asked else line


def beginning(word: str, has_more: bool) -> str | None:
    """The one command that begins with a word; "rep" is `repair` with a name after it and `repairs`
    without."""
    start = fold(word)
    if start in _NEVER_SHORT or (len(start) < 3 and has_more):
        return None
    found = [name for name in COMMANDS if start and name.startswith(start) and name not in ("note", "missing")]
    if found == ["repairs", "repair"]:
        return "repair" if has_more else "repairs"
    return found[0] if len(found) == 1 else None
