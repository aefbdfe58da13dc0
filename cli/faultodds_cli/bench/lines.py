"""The lines of a guided call: what somebody means by one (a finding, a word of the program, an answer), and doing it."""

from __future__ import annotations

import contextlib
import difflib
import re
from collections.abc import Iterable

from faultodds.advice import question_of
from faultodds.errors import BadReading, ClashError, FaultoddsError, UnknownName, unknown
from faultodds.job import closed_up, put_back, sayings, typed
from faultodds.knowledge import Knowledge
from faultodds.names import fold
from faultodds.safety import only_denies
from faultodds_cli.bench.call import BenchCall, Question, forgiving
from faultodds_cli.bench.commands import COMMANDS, as_command, beginning, exact, refuse_two_ways
from faultodds_cli.bench.dangers import watch_for_danger
from faultodds_cli.bench.doubts import meant, settled
from faultodds_cli.bench.named import as_pair, as_shown
from faultodds_cli.bench.states import all_back, said_of_machine
from faultodds_cli.shared.show_job import clash_lines

DENIAL = re.compile(
    r"\b(?:no|not|never|without|cannot|none of|nothing"
    r"|(?:do|does|did|is|are|was|were|wo|ca|could|has|have|had|would|should|ai|need)nt)\b"
)

_LOOKS = re.compile(r"(?i)(?:look|check|measure|test)\s+(?:(?:at|for|the)\s+)*(\S.*)")

# What people say for the answers "no" and "yes".
PLAINLY = {**dict.fromkeys(("nope", "nah", "n"), "no"), **dict.fromkeys(("yeah", "yep", "yup", "y"), "yes")}
_ASKS_HOW_IT_IS = re.compile(r"(?i)(?:is|are|did i|have i|was|is there)\b[^?]*\?$")


def talk_through(call: BenchCall) -> None:
    """Show where the job stands, then take lines until the call is left or closed, or the input ends."""
    if not call.over:
        call.show()
    while not call.over:
        line = call.talk.ask()
        if line is None:
            call.talk.say(call.goodbye())
            return
        if line:
            take(call, line)


def take(call: BenchCall, line: str) -> None:
    """One line: done, and saved, or answered with what to type instead."""
    before, done_with = call.visit.job, False
    with forgiving(call.talk):
        try:
            watch_for_danger(call, line)
            call.warn_if_live(line)
            with call.talk.held(call.visit):
                done = settled(call, line) or _obey(call, line)
            done_with = exact(line.split()[0]) is not None
            if done and not call.over:
                call.show()
        except ClashError as clash:
            call.talk.say(clash_lines(clash))
    call.ask_half_told()
    if call.visit.job is before and not call.over and (call.visit.state or not done_with):
        call.warn_if_on(line)
    taken_back = exact(as_command(line).split()[0]) == "undo"
    call.unnoted = "" if done_with or taken_back or call.visit.job is not before else line


def _obey(call: BenchCall, line: str) -> bool:
    """Do what a line says; true when the screen is to be shown anew."""
    if not (line := meant(call, line)):
        return False
    line = as_pair(call, _as_question(call.visit.knowledge, as_command(line)))
    parts = typed.parts(line)
    if len(parts) > 1 and exact(line.split()[0]) is None and not sayings.takes_back(line):
        return one_by_one(call, parts)
    question, call.question = call.question, None
    if question is None:  # what was asked last is what is answered
        line = _as_answer(call, line)
    if _fact_told(call, line):
        return True
    word, _, rest = line.partition(" ")
    command = exact(word)
    if command == "leave" and rest:  # "quit overnight" tells of the machine
        command = None
    if question and command in (None, "open", "shut"):
        if answer(call, question, line):
            return call.question is None
        line = _as_answer(call, line)
    if command in ("open", "shut"):
        refuse_two_ways(call, command, rest.strip())
    said = sayings.understand(call.visit.knowledge, line) if command in (None, "open", "shut") else []
    unclear = all(each.kind == "ask" for each in said) and (call.visit.state or not said)
    if unclear and (panels := closed_up(call.visit.knowledge, line, call.visit.state)):
        return call.close_panels(panels)
    if unclear and (back := put_back(call.visit.knowledge, line)) and back.closed:
        return all_back(call, back)
    if said and (command is None or any(each.kind != "ask" for each in said)):
        return said_so(call, said)
    if command is None and only_denies(line):
        call.talk.tell("Good. Nothing is noted of it.")
        return False
    if command is None and says_no(line) and not typed.is_called(call.visit.knowledge, line):
        return call.enter_all(what_was_denied(call, line))
    if command is None:
        found = _findings(call, line, question)
        if found is not None:
            return call.enter_all(found)
        command = beginning(word, bool(rest.strip()))
    assert command is not None
    return COMMANDS[command].run(call, rest.strip())


def _as_question(k: Knowledge, line: str) -> str:
    """ "look burning smell" as "ask burning_smell": a name alone, behind a word that only looks; "is the gas on?" as "state"; any
    other line as it is."""
    if _ASKS_HOW_IT_IS.match(line) and sayings.things_named(k, line):
        return "state"
    looked, seen = _LOOKS.fullmatch(line.strip()), k.observables
    if looked is None or fold(line.split()[0]) in seen:
        return line
    return next((f"ask {n}" for n, o in seen.items() if fold(looked[1]) in (fold(n), fold(o.title))), line)


def _as_answer(call: BenchCall, line: str) -> str:
    """A bare answer to what the screen asks, as it is typed in full; any other line as it is.

    Raises FaultoddsError for a line that may be meant as an answer and is none of the answers there are: a plain yes or no, one
    with more to it, or a word that would be taken for the outcome of something else.
    """
    if not call.asked:
        return as_shown(call, line)
    question = question_of(call.visit.knowledge, call.asked)
    answers = {fold(a): a for a in question.answers} | {fold(w): a for a, w in question.answers.items()}
    said = PLAINLY.get(fold(line), fold(line))
    if said in answers and "?" not in line:
        return f"{call.asked}={answers[said]}"
    k, word = call.visit.knowledge, fold(re.split(r"[\s,.;]", line, maxsplit=1)[0])
    word = PLAINLY.get(word, word)
    elsewhere = {fold(o) for seen in k.observables.values() for o in seen.outcomes}
    alone = fold(line) in (word, *PLAINLY)
    answer = word == "yes" or (word == "no" and (alone or line[len(word) :].lstrip()[:1] in (",", ".", ";")))
    unclear = answer and (alone or "?" in line or word not in answers or not sayings.understand(k, line))
    if unclear or (len(line.split()) == 1 and fold(line) in elsewhere):
        named = "; ".join(f"{a}" if w == a else f"{a}: {w}" for a, w in question.answers.items())
        raise FaultoddsError(f"{question.text} Answer {named}. For something else, type its name and what it shows.")
    return line


def _fact_told(call: BenchCall, line: str) -> bool:
    """Enter a fact about machine or house typed as NAME=VALUE; false for any other line."""
    name, sign, value = (x.strip() for x in line.partition("="))
    if not sign or name not in typed.asked(call.visit.knowledge):
        return False
    return _said_fact(call, sayings.Said("fact", name, value, line))


def one_by_one(call: BenchCall, parts: Iterable[str]) -> bool:
    """Several NAME=VALUE on a line: what was read is kept and shown, what was not is asked."""
    changed = False
    for part in parts:
        with forgiving(call.talk):
            if _fact_told(call, part):
                changed = True
                continue
            found = typed.findings(call.visit.knowledge, part, call.numbered)
            changed = call.enter_all(found) or changed
    return changed


def said_so(call: BenchCall, said: Iterable[sayings.Said]) -> bool:
    """Do what was said in a technician's own words; true when the screen is to be shown anew."""
    changed, rest = False, sorted(said, key=lambda each: each.kind != "ask")  # what is to be asked of it comes first
    if machine := [each for each in rest if each.kind == "machine"]:
        with forgiving(call.talk):
            changed = said_of_machine(call, machine)
    for each in (each for each in rest if each.kind != "machine"):
        with forgiving(call.talk):
            changed = _SAID[each.kind](call, each) or changed
    return changed


def says_no(line: str) -> bool:
    """Whether a line has a "no" or "not" in it that is no value."""
    return "=" not in line and bool(DENIAL.search(sayings.plain(line)))


def what_was_denied(call: BenchCall, line: str) -> list[typed.Typed]:
    """The findings on a line with a "no" or "not" in it, when what they showed is an outcome in full.

    Anything else is asked about: half of such a line would be its opposite.
    """
    with contextlib.suppress(FaultoddsError):
        found = [] if DENIAL.match(sayings.plain(line)) else typed.findings(call.visit.knowledge, line, call.numbered)
        if found and all(typed.is_outcome(call.visit.knowledge, each) for each in found):
            call.try_out(found)
            return found
    raise FaultoddsError(
        f"'{line}' is not understood, and nothing was noted. Type a finding as NAME=OUTCOME, such as heat=none; "
        "a tool that is not there as: no multimeter (here after all: take back multimeter); or note and the words, to keep "
        "them as a remark."
    )


def _said_found(call: BenchCall, said: sayings.Said) -> bool:
    with contextlib.suppress(BadReading):  # `enter` asks what is missing of a reading
        call.try_out([typed.Typed(said.name, said.value)])
    return call.enter(said.name, said.value)


def _said_fact(call: BenchCall, said: sayings.Said) -> bool:
    given = call.visit.fact(said.name, said.value)
    call.talk.tell(f"Noted: {given.name} = {given.value}.")
    return True


def _said_tool(call: BenchCall, said: sayings.Said) -> bool:
    return COMMANDS["missing"].run(call, said.name)


def _said_hands(call: BenchCall, said: sayings.Said) -> bool:
    if not call.visit.situation.qualified:
        return False
    call.visit.qualified = False
    call.visit.keep_hands()
    call.talk.tell("Noted: live and gas-pressure work is for somebody qualified. It is not offered on this job.")
    return True


def _said_doubt(call: BenchCall, said: sayings.Said) -> bool:
    if call.asked and said.name == "all":
        return COMMANDS["skip"].run(call, call.asked)
    if stopping := sayings.doubted_stop(call.visit.knowledge, said.text):
        call.half_told = stopping
        return call.enter(stopping, "")
    of_it = " of it" if said.value else ""
    call.talk.tell(
        f"The question is not answered, then; nothing was noted{of_it}. Type skip and its name if it cannot be told at all."
    )
    return False


def _said_command(call: BenchCall, said: sayings.Said) -> bool:
    return COMMANDS[said.name].run(call, "")


def _said_repair(call: BenchCall, said: sayings.Said) -> bool:
    return COMMANDS["repair"].run(call, said.name)


def _said_undone(call: BenchCall, said: sayings.Said) -> bool:
    done = f" When it is done, type: repair {said.name.replace(', ', ' / ')}." if said.name else ""
    call.talk.tell(f"Not done, so nothing was noted of it.{done} note and the words keep a remark.")
    return False


def _said_unread(call: BenchCall, said: sayings.Said) -> bool:
    call.talk.tell(f"Not understood, so not noted: {said.name}. Type it as NAME=OUTCOME, or note and the words.")
    return False


def _said_noted(call: BenchCall, said: sayings.Said) -> bool:
    call.visit.note(said.text)
    call.talk.tell(said.name)
    return False


def _said_unclear(call: BenchCall, said: sayings.Said) -> bool:
    call.talk.tell(said.name, "?  ")
    call.if_yes = said.value
    return False


_SAID = {
    "finding": _said_found,
    "fact": _said_fact,
    "tool": _said_tool,
    "hands": _said_hands,
    "doubt": _said_doubt,
    "command": _said_command,
    "ask": _said_unclear,
    "repair": _said_repair,
    "undone": _said_undone,
    "noted": _said_noted,
    "unread": _said_unread,
}


def _findings(call: BenchCall, line: str, question: Question | None) -> list[typed.Typed] | None:
    """The findings on a line; None when it is an abbreviated command.

    Raises FaultoddsError when it is neither.
    """
    word, _, rest = line.partition(" ")
    command = beginning(word, bool(rest.strip()))
    try:
        found = typed.findings(call.visit.knowledge, line, call.numbered)
        if command is not None and not all(each.value for each in found):
            return None
        call.try_out(found)
    except BadReading:
        return found
    except UnknownName as problem:
        if command is not None:
            return None
        if only := typed.only_outcome(call.visit.knowledge, line, call.seen_already):
            return [only]
        if stopping := sayings.doubted_stop(call.visit.knowledge, line):
            call.half_told = stopping
            return [typed.Typed(stopping, "")]
        call.question = question
        raise _near_miss(call.visit.knowledge, line, problem) from None
    return found


def _near_miss(k: Knowledge, line: str, problem: UnknownName) -> FaultoddsError:
    """What to say to a line that is neither a command nor a finding; one that begins with a repair is told how that is entered."""
    word = line.split()[0]
    repair = next((name for name in k.repair if fold(name) == fold(word)), None)
    if repair:
        return FaultoddsError(
            f"{repair} is a repair. Once it has been done, type: repair {repair}. For its steps: how {repair}"
        )
    if not str(problem).startswith("there is no symptom or check"):
        return problem  # the name was understood: what is wrong is the rest of the line
    close = difflib.get_close_matches(word.casefold(), COMMANDS, n=1, cutoff=0.7)
    if close:
        return UnknownName(f"'{word}' is no word of this program. Did you mean '{close[0]}'? Type help for all.")
    known = [*k.observables, *k.repair]
    return unknown("symptom, check or repair", line.strip(), known, "Type help for what can be typed.")


def answer(call: BenchCall, question: Question, line: str) -> bool:
    """Whether a line answers what was asked; it is entered then, or leads to the next question."""
    if any(c.isdigit() for c in question.value):
        options = typed.reading_again(question.value, line)
    else:  # words that were no reading are no part of one
        options = [typed.value_of(call.visit.knowledge, question.name, line)]
    problem: tuple[str, BadReading] | None = None
    for value in options:
        try:
            call.visit.judge(question.name, value, again=question.again)
        except BadReading as error:
            problem = problem or (value, error)
        except UnknownName:
            continue
        else:
            call.enter(question.name, value, question.again)
            return True
    if problem is None or _makes_sense(call, line):
        return False
    call.ask_back(Question(question.name, problem[0], question.again), problem[1])
    return True


def _makes_sense(call: BenchCall, line: str) -> bool:
    """Whether a line can be read as a command or a finding of its own."""
    if sayings.understand(call.visit.knowledge, line):
        return True
    try:
        _findings(call, line, None)
    except FaultoddsError:
        return False
    return True
