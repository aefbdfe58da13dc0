"""The beginning of a guided call: the stop signs, what is known of the machine, and the complaint."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from faultodds.errors import UnknownName
from faultodds.job import Danger, OpenJob, sayings, typed, why_asked
from faultodds.knowledge import ContextFact, EquipmentFact, Knowledge
from faultodds.names import fold
from faultodds_cli.bench.call import BenchCall, forgiving
from faultodds_cli.bench.commands import WHO_SAYS_SO, exact
from faultodds_cli.bench.dangers import answered, plain_no, watch_for_danger
from faultodds_cli.bench.doubts import settled
from faultodds_cli.bench.lines import answer, said_so, says_no, take, what_was_denied
from faultodds_cli.bench.named import as_pair
from faultodds_cli.bench.show import symptom_lines
from faultodds_cli.shared.talk import CallLeft, Talk

# Asked on going on, where the signs are listed above it.
ANY_OF_IT = "Is any of it so?"


def first_answers(talk: Talk, knowledge: Knowledge, begin: Callable[[], OpenJob]) -> tuple[OpenJob | None, bool]:
    """Ask every stop sign before anything else; the job begins with the first answer.

    Returns the visit (None when the input ended before any answer) and whether all were answered with no.
    Raises SafetyStop, with the sign noted in the job, at the first answer that is a yes, or twice neither yes nor no.
    """
    talk.tell("First, is it safe? A plain no to each of these, or everything stops.")
    visit: OpenJob | None = None
    for sign, stop in knowledge.stop.items():
        reply = answered(talk, stop.ask)
        if reply is None:
            return visit, False
        visit = visit or begin()
        try:
            plain_no(talk, visit, sign, stop.ask, reply)
        except CallLeft:
            return visit, False
    visit = visit or begin()
    if knowledge.stop:
        visit.safety_asked()
    return visit, True


def still_safe(talk: Talk, visit: OpenJob) -> bool:
    """On going on with a job, its stop if it has one, then all stop signs, a line each, with one answer; false at the end of input.

    Raises SafetyStop as above.
    """
    if visit.job.stopped and not _said_safe(talk, visit, visit.job.stopped):
        return False
    stops = visit.knowledge.stop
    if not stops:
        return True
    when = "now, or at any time since the last visit" if visit.job.visit > 1 else "now"
    talk.tell(f"Before going on, is it safe? Any of these {when}:")
    for number, stop in enumerate(stops.values(), 1):
        talk.tell(stop.ask, f"  {number}. ")
    reply = answered(talk, "A plain no to all of them, or everything stops.")
    if reply is None:
        return False
    with suppress(CallLeft):
        plain_no(talk, visit, None, ANY_OF_IT, reply, over=True)
        return True
    return False


def _said_safe(talk: Talk, visit: OpenJob, danger: Danger) -> bool:
    """Show the stop that a job was left with; false unless somebody says that it is safe."""
    talk.tell(danger.text)
    while (reply := answered(talk, "Is it safe again? Type safe, or leave:")) is not None:
        word, _, rest = reply.partition(" ")
        said: str | None = rest if fold(word) == "safe" else reply  # how it was cleared may be told straight away
        if not said and (said := answered(talk, WHO_SAYS_SO)) is None:
            return False
        with forgiving(talk):
            visit.safe(said)
            return True
    return False


def intake(call: BenchCall) -> bool:
    """The machine first, then its surroundings; every question can be left with Enter.

    False on "leave" and at the end of input.
    """
    k = call.visit.knowledge
    asked = typed.asked(k)
    left = [name for name in asked if name not in {**call.visit.job.facts, **call.visit.job.skipped}]
    if left:
        call.talk.say()
        call.talk.tell("The machine: a number or name, Enter to skip, ? for why it is asked, done to go on.")
    for name in left:
        if name in call.visit.job.facts:  # told together with an earlier one
            continue
        going = _ask_fact(call, name, asked[name])
        if going is None:
            return False
        if not going:
            break
    return True


def _ask_fact(call: BenchCall, name: str, fact: ContextFact | EquipmentFact) -> bool | None:
    """Ask one fact until it is answered or left: false on "done", None on "leave" and at the end of input."""
    values = ", ".join(f"{i} {words}" for i, words in enumerate(fact.values.values(), 1))
    while True:
        line = call.talk.ask(f"{fact.ask} {values}:", any_line=True)
        if line is None:
            return None
        if not line:
            if (
                name in call.visit.knowledge.context
            ):  # the machine can be looked at when it matters, the house is not known
                call.visit.skip(name)
            return True
        if fold(line) == "done":
            return False
        if line == "?":
            call.talk.tell(why_asked(call.visit.knowledge, name), "   ")
            continue
        if (command := exact(line)) == "leave":
            return None
        if command == "help":
            take(call, line)
            continue
        if _take_fact(call, name, fact, line):
            return True


def _take_fact(call: BenchCall, name: str, fact: ContextFact | EquipmentFact, line: str) -> bool:
    """Take an answer to one question, or NAME=VALUE pairs; true when the question is answered."""
    visit = call.visit
    with forgiving(call.talk), call.talk.held(visit):
        watch_for_danger(call, line)
        if settled(call, line):
            return name in visit.job.facts
        line = as_pair(call, line)
        if said := sayings.understand(visit.knowledge, line):
            if (said[0].kind, said[0].name) == ("doubt", "all"):
                visit.skip(name)
                call.talk.tell("Not known, then.")
                return True
            said_so(call, said)
            return name in visit.job.facts
        if found := _told_early(call, line):
            call.try_out(found)
            call.enter_all(found)
            return False
        pairs = typed.facts(visit.knowledge, line) if "=" in line else [(name, typed.fact_value(fact.values, line))]
        visit.facts(pairs)
    return name in visit.job.facts


def _told_early(call: BenchCall, line: str) -> list[typed.Typed]:
    """The findings that a line gives by their full names, with values: what was seen can be told before it is asked."""
    k = call.visit.knowledge
    first = line.replace("=", " ").split()[:1]
    if not first or first[0] not in k.observables:
        return []
    found = typed.findings(k, line)
    return found if all(each.value for each in found) else []


def complaint(call: BenchCall) -> bool:
    """What is wrong, by number or name, several on a line. False at the end of input."""
    talk = call.talk
    call.numbered = call.symptoms()
    talk.say()
    talk.tell("What is wrong? Several on a line: 1=2 heat=none. A number alone means yes. Enter when told all.")
    talk.say(symptom_lines(call.visit, call.numbered))
    while True:
        line = talk.ask("Complaint:", any_line=True)
        if line is None:
            return False
        if (not line and call.question is None) or fold(line) in ("done", "none"):
            return True
        if line and call.question is None and exact(line.split()[0]) is not None:
            # Somebody who types a command has told all that is wrong.
            take(call, line)
            return not call.over
        if line:
            _take_complaint(call, line)
        if call.over:
            return False


def _take_complaint(call: BenchCall, line: str) -> None:
    """Enter the symptoms on a line; what cannot be taken is answered with what to type instead."""
    with forgiving(call.talk), call.talk.held(call.visit):
        watch_for_danger(call, line)
        if settled(call, line):
            return
        question, call.question = call.question, None
        if question and answer(call, question, line):
            return
        line = as_pair(call, line)
        if said := sayings.understand(call.visit.knowledge, line):
            said_so(call, said)
            return
        for part in typed.numbers_between(line, len(call.numbered)):
            with forgiving(call.talk):
                call.enter_all(_complained(call, part))


def _complained(call: BenchCall, part: str) -> list[typed.Typed]:
    if says_no(part) and not typed.is_called(call.visit.knowledge, part):
        return what_was_denied(call, part)
    try:
        found = typed.findings(call.visit.knowledge, part, call.numbered)
    except UnknownName:
        only = typed.only_outcome(call.visit.knowledge, part, call.seen_already)
        # What the customer says is no check that somebody has done.
        if only is not None and only.name in call.visit.knowledge.symptom:
            return [only]
        raise
    return [_plain_yes(call, each) for each in found]


def _plain_yes(call: BenchCall, each: typed.Typed) -> typed.Typed:
    outcomes = list(call.visit.knowledge.observables[each.name].outcomes)
    return typed.Typed(each.name, "yes") if not each.value and outcomes == ["no", "yes"] else each
