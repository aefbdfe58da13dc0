"""The lines of a guided call: what somebody means by one (a finding, a word of the program, an answer), and doing it."""

from __future__ import annotations

from faultodds.errors import BadReading, ClashError, FaultoddsError, UnknownName
from faultodds.job import typed
from faultodds_cli.bench.call import BenchCall, Question, forgiving
from faultodds_cli.bench.commands import COMMANDS, beginning, exact, near_miss
from faultodds_cli.shared.show_job import clash_lines

PROMPT = ">"


def talk_through(call: BenchCall) -> None:
    """Show where the job stands, then take lines until the call is left or closed, or the input ends."""
    if not call.over:
        call.show()
    while not call.over:
        line = call.talk.ask(PROMPT)
        if line is None:
            call.talk.say(call.goodbye())
            return
        if line:
            take(call, line)


def take(call: BenchCall, line: str) -> None:
    """One line: done, and saved, or answered with what to type instead."""
    with forgiving(call.talk):
        try:
            call.watch_for_danger(line)
            if _obey(call, line) and not call.over:
                call.show()
        except ClashError as clash:
            call.talk.say(clash_lines(clash))


def _obey(call: BenchCall, line: str) -> bool:
    """Do what a line says; true when the screen is to be shown anew."""
    question, call.question = call.question, None
    word, _, rest = line.partition(" ")
    command = exact(word)
    if question and command in (None, "open", "shut") and answer(call, question, line):
        return call.question is None
    if command is None:
        found = _findings(call, line, question)
        if found is not None:
            return call.enter_all(found)
        command = beginning(word, bool(rest.strip()))
    assert command is not None
    return COMMANDS[command].run(call, rest.strip())


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
        call.question = question
        raise near_miss(word, problem) from None
    return found


def answer(call: BenchCall, question: Question, line: str) -> bool:
    """Whether a line answers what was asked; it is entered then, or leads to the next question."""
    if question.value:
        options = typed.reading_again(question.value, line)
    else:
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
    try:
        _findings(call, line, None)
    except FaultoddsError:
        return False
    return True
