"""The safety questions of a guided call, and danger in what is typed."""

from __future__ import annotations

from typing import NoReturn

from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job import OpenJob, sayings, typed
from faultodds.names import fold
from faultodds.safety import admits, denies, hazard_of, may_answer
from faultodds_cli.bench.call import BenchCall
from faultodds_cli.bench.commands import exact
from faultodds_cli.shared.talk import CallLeft, Talk


def answered(talk: Talk, question: str) -> str | None:
    """An answer to a safety question that is not blank, or None on "leave" and at the end of input."""
    while True:
        reply = talk.ask(question)
        if reply is None or (command := exact(reply)) == "leave":
            return None
        if command in ("help", "how", "why") or fold(reply) in ("help_me", "what", "what_now") or reply == "?":
            talk.tell(
                "Type no if there is none of it. A yes stops the call; a doubt is asked once more. leave ends it.",
                "   ",
            )
        elif reply:
            return reply


def plain_no(talk: Talk, visit: OpenJob, sign: str | None, question: str, reply: str, over: bool = False) -> None:
    """Go on when `reply` is a plain no. What is neither that nor a yes is kept as a note and asked once more.

    What tells of the call ("no heat again"), or of no danger at all, is no answer: it is asked again until one comes, and
    CallLeft is raised when none does.
    Raises SafetyStop, kept with the job, for a yes, and when the second answer is no plain no either, or none comes. `over`: what
    an answer tells of as past and put right is none. No `sign`: the question is of all of them, and after a yes it is asked which.
    """
    visit.listen(reply, over=over)
    reply = _an_answer(talk, visit, sign, question, reply, over)
    first = reply
    by_number = _by_number(visit, sign, reply)
    if not denies(reply) and not admits(reply, over) and not by_number:
        visit.remark(f"{question} {reply}")
        talk.tell(
            f"I heard: '{reply}'. That is neither a plain yes nor a plain no. Make sure first; nothing is switched or lit for it.",
            "?  ",
        )
        reply = answered(talk, f"{question} yes / no") or reply
        visit.listen(reply, over=over)
    if sign is None and not denies(reply):
        stop_at_which(talk, visit, reply)
    sign = sign or next(iter(visit.knowledge.stop))
    before = visit.job.notes
    visit.stop_sign(sign, reply, first)
    for note in visit.job.notes[len(before) :]:
        talk.tell(note)


def _an_answer(talk: Talk, visit: OpenJob, sign: str | None, question: str, reply: str, over: bool) -> str:
    """The first reply that may be an answer. What tells of the call, and what has no word of a danger, a yes, a no or a doubt in
    it, is kept as a note, and it is asked again."""
    while not denies(reply) and not _by_number(visit, sign, reply):
        elsewhere = ("=" in reply or not admits(reply, over)) and _tells_of_the_call(visit, reply)
        if not elsewhere and may_answer(reply):
            break
        visit.remark(f"{question} {reply}")
        talk.tell(f"I heard: '{reply}'. Kept as a note; type it again once it is plain that it is safe.", "?  ")
        answer = answered(talk, f"{question} yes / no")
        if answer is None:
            raise CallLeft
        visit.listen(answer, over=over)
        reply = answer
    return reply


def _by_number(visit: OpenJob, sign: str | None, reply: str) -> bool:
    return sign is None and reply[:1].isdigit() and bool(_signs_told(visit, reply))


def _tells_of_the_call(visit: OpenJob, reply: str) -> bool:
    """Whether an answer is a command, work done, or what the machine shows that can hurt nobody."""
    k, (first, *_) = visit.knowledge, reply.split()
    name = fold(reply.partition("=")[0]) if "=" in reply else fold(first)
    said = sayings.understand(k, reply)
    shown = {s.name: s.value for s in said if s.kind == "finding"}
    shown = shown or {n: reply.partition("=")[2].strip() for n in {name} & k.observables.keys()}
    for each, value in shown.items():
        seen = k.observables[each]
        if (seen.bars or seen.harms) and value != next(iter(seen.outcomes)):
            return False
    return bool(shown or exact(first)) or (bool(said) and all(s.kind in ("repair", "command") for s in said))


def stop_at_which(talk: Talk, visit: OpenJob, reply: str) -> NoReturn:
    """Raise SafetyStop for a yes to all stop signs at once. It is kept before it is asked which of them it is; what is told then
    takes its place."""
    signs = _signs_told(visit, reply)
    try:
        if not signs:
            visit.stop_untold(reply)
    except SafetyStop as stop:
        talk.tell(str(stop).partition("\nJob ")[0])
        which = answered(talk, "Which of them is it? Its number, or all:")
        if which is None or not (signs := _signs_told(visit, which)):
            visit.listen(which or "")
            raise
    for sign in signs:
        try:
            visit.stop_sign(sign, reply if not denies(reply) and not reply.isdigit() else "yes")
        except SafetyStop:
            if sign == signs[-1]:
                raise
    raise AssertionError(signs)


def _signs_told(visit: OpenJob, reply: str) -> list[str]:
    """The stop signs that an answer names by their numbers, or one by its name or what it is of in a word ("2", "1 3", "co")."""
    signs = visit.knowledge.stop
    words = reply.replace(",", " ").replace("and", " ").split()
    if words and all(word.isdigit() for word in words):
        return [sign for number, sign in enumerate(signs, 1) if str(number) in words]
    if (named := typed.stop_sign_in(visit.knowledge, reply)) is not None:
        return [named]
    hazard = hazard_of("", reply) if len(words) == 1 else None
    return [sign for sign, stop in signs.items() if hazard is not None and hazard_of(sign, stop.title) == hazard]


def watch_for_danger(call: BenchCall, line: str) -> None:
    """Stop when a line tells of danger; ask when it speaks of a stop sign that is the knowledge file's own."""
    name, sign, value = line.partition("=")
    named = typed.stop_sign_named(call.visit.knowledge, name.strip())
    if named is not None:
        ask = call.visit.knowledge.stop[named].ask
        plain_no(call.talk, call.visit, named, ask, value.strip() if sign else "yes")
        raise FaultoddsError("Good. Go on.")
    call.visit.listen(line)
    spoken = typed.stop_sign_in(call.visit.knowledge, line)
    if spoken is None:
        return
    question = call.visit.knowledge.stop[spoken].ask
    reply = answered(call.talk, f"{question} (a plain no, or everything stops)")
    if reply is None:
        call.over = True
    else:
        plain_no(call.talk, call.visit, spoken, question, reply)
