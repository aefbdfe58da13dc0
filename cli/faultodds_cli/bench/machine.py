"""How the machine is, asked until it is plain: work that was told of may have opened it, or closed it up, and nobody said so."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from typing import NamedTuple

from faultodds.advice import closing_lines
from faultodds.errors import FaultoddsError
from faultodds.job import UNSETTLED, Finding, OpenJob, RepairDone, put_back, sayings
from faultodds.knowledge import Knowledge
from faultodds.names import fold
from faultodds.safety import safety_items
from faultodds_cli.shared.show_job import state_called
from faultodds_cli.shared.talk import LEAVES, CallLeft, Talk

# A plain yes.
YES = frozenset({"yes", "y", "yeah", "yep", "yup", "it is", "yes it is", "it is so", "thats right", "correct"})
NO = frozenset({"no", "n", "nope", "nah", "it is not", "no it is not", "it isnt", "no it isnt", "not so"})
# What may only say that somebody has heard, or thinks so.
HEARD = frozenset(
    {"done", "all done", "all good", "good", "fine", "ok", "okay", "k", "sure", "i think so", "think so", "should be"}
)
# What tells that it ran, or that the call ends, is not done afterwards: it was typed of a machine that was not plain.
NOT_AFTERWARDS = frozenset({"close", "verify"})
# An answer of more words than this may tell more than how the machine is.
LONG = 3
# How many answers that say nothing of it are taken before the call is left.
TIMES_ASKED = 4


class Guess(NamedTuple):
    """`after`: the access items that are open if all is as the work needs it; `doubtful`: those of which somebody has to say so."""

    after: frozenset[str]
    doubtful: frozenset[str]


def guess_of(visit: OpenJob, work: Collection[str]) -> Guess | None:
    """The machine's state that work would bring, where that is to be asked as it can hurt somebody; None where it may be taken."""
    after, before = visit.leads_to(work), visit.state
    doubtful = ((after ^ before) | (visit.worked_in(work) - before)) & safety_items(visit.knowledge)
    return Guess(after, doubtful) if doubtful else None


def settled(
    visit: OpenJob, talk: Talk, is_command: Callable[[str], bool], before: Collection[str], guess: Guess
) -> bool:
    """Ask how the machine is until it is plain; a `guess` is taken for a plain yes only, and until then the machine is as it was.

    What was typed in place of an answer comes afterwards. False when nobody says: that is kept with the job.
    """
    later: list[str] = []
    heard: list[str] = []
    with suppress(CallLeft):
        if _told_plainly(visit, talk, is_command, before, guess, later, heard):
            for line in later:
                talk.put_off(line)
            return True
    said = f"; said: {'; '.join(heard)}" if heard else ""
    visit.remark(f"{UNSETTLED}: perhaps {state_called(visit.knowledge, guess.after, guess.doubtful)}{said}.")
    return False


def settled_again(visit: OpenJob, talk: Talk, is_command: Callable[[str], bool]) -> bool:
    """Ask once more how the machine is where a call was left because nobody said; true when it is plain, or nothing is open."""
    if not visit.job.unsettled or visit.job.is_closed:
        return True
    work = [s.payload.name for s in visit.job.steps if isinstance(s.payload, Finding | RepairDone)][-1:]
    guess = guess_of(visit, work)
    return guess is None or settled(visit, talk, is_command, visit.state, guess)


def says_yes(visit: OpenJob, talk: Talk, question: str) -> bool:
    """Ask a question once; whether the answer is a plain yes. Raises CallLeft for "leave"."""
    reply = talk.answer(question)
    visit.listen(reply)
    return sayings.plain(reply) in YES and "?" not in reply


def _told_plainly(
    visit: OpenJob,
    talk: Talk,
    is_command: Callable[[str], bool],
    before: Collection[str],
    guess: Guess,
    later: list[str],
    heard: list[str],
) -> bool:
    """Ask how the machine is until it is plain; what was typed in place of an answer goes to `later`, all that was to `heard`."""
    k, asked = visit.knowledge, 0
    now, was = state_called(k, guess.after, {*before, *guess.doubtful}), state_called(k, before, guess.doubtful)
    pieces: dict[str, bool] = {}
    while asked < TIMES_ASKED:
        reply = talk.ask(f"Is the machine like this now: {now}? (yes, no, or how it is, such as: gas on)")
        if reply is None:
            return False
        visit.listen(reply)
        said = sayings.plain(reply)
        heard += [reply] if reply else []
        back = put_back(k, reply)
        told = back.items if back else _told(k, reply)
        whole = back is not None and back.closed and not guess.after
        asked_back = back is None and _asked_back(k, talk, reply)
        new = told.keys() - pieces.keys()
        pieces |= told
        if told and guess.doubtful <= pieces.keys() and _is_so(visit, pieces):
            return True
        if new and not whole and not guess.doubtful <= pieces.keys():
            _ask_the_rest(visit, talk, guess, told, pieces)
            continue
        as_guessed = pieces.items() <= {i: i in guess.after for i in k.access}.items()
        if as_guessed and "?" not in reply and (said in YES or whole or _called(guess, said, sayings.plain(now))):
            return _is_so(visit, {i: i in guess.after for i in k.access if (i in guess.after) != (i in before)})
        taken_back = said.partition(" ")[0] == "undo" or said.startswith("take back ")
        if reply.casefold() in LEAVES:
            return False
        if taken_back or (said in NO and says_yes(visit, talk, f"Is it {was}, then? (yes or no)")):
            later += [reply] * taken_back
            talk.tell(f"Then it is taken to be as before: {was}. Say how it is, such as: gas on.")
            return True
        asked += 1
        if said.partition(" ")[0] in NOT_AFTERWARDS:
            talk.tell("Not while that is not plain: type it again afterwards.")
            continue
        if again := _noted_just_now(visit, reply):
            talk.tell(f"{again} is noted already, once.")
        elif not asked_back and said not in HEARD and not _of_the_machine(k, reply):
            later.append(reply)
            talk.tell(f"Kept for when that is plain: {reply}")
        elif not new and len(said.split()) > LONG:
            talk.tell(f"Nothing was noted of: {reply}")
        if not is_command(reply.partition(" ")[0]):
            _make_safe(visit, talk, guess)
    return False


def _ask_the_rest(
    visit: OpenJob, talk: Talk, guess: Guess, told: Mapping[str, bool], pieces: Mapping[str, bool]
) -> None:
    """Say what is plain so far (`told` just now among it), and what of the machine is still to be told."""
    access = visit.knowledge.access
    if any(i in guess.after and access[i].makes_safe and not is_open for i, is_open in told.items()):
        _make_safe(visit, talk, guess)
    rest = ", ".join(a.called(i in guess.after) for i, a in access.items() if i in guess.doubtful - pieces.keys())
    talk.tell(f"So far: {', '.join(access[i].called(o) for i, o in pieces.items())}. And: {rest}?")


def _called(guess: Guess, said: str, now: str) -> bool:
    """Whether what was said is the state that was asked about, by its name or, of a closed machine, the beginning of it."""
    return said == now or (not guess.after and f"{now} ".startswith(f"{said or '?'} "))


def _told(k: Knowledge, reply: str) -> dict[str, bool]:
    """What an answer tells of the machine, open or not, when that and what is to be asked of it is all, and it is no question."""
    told = sayings.understand(k, reply) if "?" not in reply else []
    if any(each.kind not in ("machine", "ask") for each in told):
        return {}
    return {str(sayings.machine_item(k, s.name)): s.value == "off" for s in told if s.kind == "machine"}


def _asked_back(k: Knowledge, talk: Talk, reply: str) -> bool:
    """Say what is to be asked of an answer ("breaker off", "panels off"); whether there is anything."""
    unclear = [s for s in sayings.understand(k, reply) if s.kind == "ask"]
    for each in unclear:
        talk.tell(each.name, "?  ")
    return bool(unclear)


def _noted_just_now(visit: OpenJob, reply: str) -> str:
    """The check or repair that was entered last, when an answer only says it once more; else empty."""
    work = [s.payload for s in visit.job.steps if isinstance(s.payload, Finding | RepairDone)][-1:]
    last = work[0] if work else None
    said = sayings.understand(visit.knowledge, reply)
    if isinstance(last, RepairDone):
        told = [s.kind == "repair" and s.name == last.name for s in said] or [fold(reply) == f"repair_{last.name}"]
    elif last is not None:
        shown = {fold(each) for each in (last.outcome, last.raw) if each}
        told = [s.kind == "finding" and s.name == last.name and fold(s.value) in shown for s in said]
        told = told or [fold(reply) in {f"{last.name}_{each}" for each in shown}]
    else:
        told = []
    return last.name if last is not None and told and all(told) else ""


def _is_so(visit: OpenJob, items: Mapping[str, bool]) -> bool:
    """Take a state of the machine that was told, if a machine can be so."""
    with suppress(FaultoddsError):
        visit.set_state(items)
        return True
    return False


def _of_the_machine(k: Knowledge, reply: str) -> bool:
    """Whether an answer is a yes or a no with more to it, or tells how the machine is and nothing else: anything else is done
    afterwards."""
    kinds = {each.kind for each in sayings.understand(k, reply)}
    first = sayings.plain(reply).partition(" ")[0]
    return not reply or first in YES | NO or ("machine" in kinds and not kinds & {"finding", "repair"})


def _make_safe(visit: OpenJob, talk: Talk, guess: Guess) -> None:
    """What comes first where somebody has not said plainly that the machine is shut off behind what was opened, or put back."""
    access = visit.knowledge.access
    steps = [access[i].open_step for i in access if i in guess.after and access[i].makes_safe]
    if steps:
        talk.tell(f"Hands off it first. {' '.join(steps)} Then answer.", "!! ")
        return
    left = [access[line.move.item].put_back for line in closing_lines(visit.knowledge, visit.state) if line.move]
    how = (
        f"Not yet: hands off, and put it back in this order: {', '.join(left)}" if left else "If not, say how it stands"
    )
    talk.tell(f"If it is all so, type yes. {how}.", "!! ")
