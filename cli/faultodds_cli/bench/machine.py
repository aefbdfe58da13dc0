"""How the machine is, asked until it is plain: work that was told of may have opened it, or closed it up, and nobody said so."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple

from faultodds.advice import closing_lines
from faultodds.errors import FaultoddsError
from faultodds.job import UNSETTLED, sayings
from faultodds.safety import safety_items
from faultodds_cli.shared.show_job import state_called

if TYPE_CHECKING:
    from faultodds_cli.bench.call import BenchCall

# A plain yes; "ok" may only say that somebody has heard.
YES = frozenset({"yes", "y", "yeah", "yep", "yup", "it is", "yes it is", "it is so", "thats right", "correct"})
NO = frozenset({"no", "n", "nope", "nah", "it is not", "no it is not", "it isnt", "no it isnt", "not so"})
# How many answers that say nothing of it are taken before the call is left.
TIMES_ASKED = 4


class Guess(NamedTuple):
    """`after`: the access items that are open if all is as the work needs it; `doubtful`: those of which somebody has to say so."""

    after: frozenset[str]
    doubtful: frozenset[str]


def guess_of(call: BenchCall, work: Collection[str]) -> Guess | None:
    """The machine's state that work would bring, where that is to be asked: it can hurt somebody, and the steps that lead
    there were not on the screen. None where it may be taken."""
    if call.told.issuperset(work):
        return None
    after, before = call.visit.leads_to(work), call.visit.state
    doubtful = ((after ^ before) | (call.visit.worked_in(work) - before)) & safety_items(call.visit.knowledge)
    return Guess(after, doubtful) if doubtful else None


def tell_state(call: BenchCall, before: Collection[str], guess: Guess | None) -> None:
    """Say how the machine is taken to be, when work that was told of brought another state with it. A `guess` is asked about,
    and taken for a plain yes only: until then the machine is as it was."""
    k, talk = call.visit.knowledge, call.talk
    if guess is None:
        if set(call.visit.state) != set(before):
            now = state_called(k, call.visit.state, before)
            talk.tell(f"So the machine is taken to be: {now}. If it is not, say so, such as: gas on.")
        return
    later: list[str] = []
    heard: list[str] = []
    if _told_plainly(call, before, guess, later, heard):
        for line in later:
            talk.put_off(line)
        return
    said = f"; said: {'; '.join(heard)}" if heard else ""
    call.visit.remark(f"{UNSETTLED}: perhaps {state_called(k, guess.after, guess.doubtful)}{said}.")
    talk.tell("How the machine is has to be plain before anything goes on: the call is left here.", "!! ")
    call.over = True
    talk.say(call.goodbye())


def _told_plainly(call: BenchCall, before: Collection[str], guess: Guess, later: list[str], heard: list[str]) -> bool:
    """Ask how the machine is until it is plain; what was typed in place of an answer goes to `later`, all that was to `heard`."""
    k, talk, asked = call.visit.knowledge, call.talk, 0
    now, was = state_called(k, guess.after, {*before, *guess.doubtful}), state_called(k, before, guess.doubtful)
    pieces: dict[str, bool] = {}
    while asked < TIMES_ASKED:
        reply = talk.ask(f"Is the machine like this now: {now}? (yes, no, or how it is, such as: gas on)")
        if reply is None:
            return False
        call.visit.listen(reply)
        said = sayings.plain(reply)
        heard += [reply] if reply else []
        told = _told(call, reply)
        new = told.keys() - pieces.keys()
        pieces |= told
        if told and guess.doubtful <= pieces.keys() and _is_so(call, pieces):
            return True
        if new and not guess.doubtful <= pieces.keys():
            rest = ", ".join(
                a.called(i in guess.after) for i, a in k.access.items() if i in guess.doubtful - pieces.keys()
            )
            talk.tell(f"So far: {', '.join(k.access[i].called(o) for i, o in pieces.items())}. And: {rest}?")
            continue
        called = said == sayings.plain(now) or (
            not guess.after and f"{sayings.plain(now)} ".startswith(f"{said or '?'} ")
        )
        if (
            (said in YES or called)
            and "?" not in reply
            and pieces.items() <= {i: i in guess.after for i in k.access}.items()
        ):
            return _is_so(call, {i: i in guess.after for i in k.access if (i in guess.after) != (i in before)})
        taken_back = said.partition(" ")[0] == "undo" or said.startswith("take back ")
        if said == "leave":
            return False
        if taken_back or (said in NO and call.says_yes(f"Is it {was}, then? (yes or no)")):
            later += [reply] * taken_back
            talk.tell(f"Then it is taken to be as before: {was}. Say how it is, such as: gas on.")
            return True
        asked += 1
        if not _of_the_machine(call, reply):
            later.append(reply)
        if call.is_command(reply.partition(" ")[0]):
            talk.tell("That comes once it is plain how the machine is.")
        else:
            _make_safe(call, guess.after)
    return False


def _told(call: BenchCall, reply: str) -> dict[str, bool]:
    """What an answer tells of the machine, open or not, when that is all that it tells and no question."""
    k = call.visit.knowledge
    told = sayings.understand(k, reply) if "?" not in reply else []
    if any(each.kind != "machine" for each in told):
        return {}
    return {str(sayings.machine_item(k, each.name)): each.value == "off" for each in told}


def _is_so(call: BenchCall, items: Mapping[str, bool]) -> bool:
    """Take a state of the machine that was told, if a machine can be so."""
    with suppress(FaultoddsError):
        call.visit.set_state(items)
        return True
    return False


def _of_the_machine(call: BenchCall, reply: str) -> bool:
    """Whether an answer is a yes or a no with more to it, or tells how the machine is: anything else is done afterwards."""
    told = sayings.understand(call.visit.knowledge, reply)
    first = sayings.plain(reply).partition(" ")[0]
    return not reply or first in YES | NO or any(each.kind == "machine" for each in told)


def _make_safe(call: BenchCall, guess: Iterable[str]) -> None:
    """What comes first where somebody has not said plainly that the machine is shut off behind what was opened."""
    access = call.visit.knowledge.access
    steps = [access[i].open_step for i in access if i in set(guess) and access[i].makes_safe]
    back = [line.text for line in closing_lines(call.visit.knowledge, call.visit.state)]
    shut = " ".join(steps) or f"Put it back, in this order: {' '.join(back)}"
    call.talk.tell(f"Hands off it first. {shut} Then answer.", "!! ")
