"""How the machine is, as a line of a call tells it: piece by piece, or all put back."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from faultodds.errors import FaultoddsError
from faultodds.job import PutBack, sayings
from faultodds.safety import made_safe, safety_items
from faultodds_cli.bench.call import BenchCall
from faultodds_cli.bench.machine import Guess
from faultodds_cli.shared.show_job import state_called

FOUND_SHUT = (
    "Nobody here had shut it: was the cock found shut, then? Type: found gas shut. Why it was shut is asked first, and its joints "
    "are soap-tested: how open_cock. Then: repair open_cock. Open all along: gas on."
)


def all_back(call: BenchCall, back: PutBack) -> bool:
    """Take it that everything is put back, when what was shut off is named with it; true when that changes anything."""
    k, before = call.visit.knowledge, call.visit.state
    if not before:
        call.talk.tell("It is taken to be closed up already. If it is not, say how it stands.", "?  ")
        return False
    if unsaid := [a.put_back for i, a in k.access.items() if a.makes_safe and i in before - back.items.keys()]:
        raise FaultoddsError(f"That too? Say all of it, such as: all back, {', '.join(unsaid)}.")
    call.visit.set_state(dict.fromkeys(before, False))
    call.talk.tell(f"Noted: {state_called(k, call.visit.state, before)}.")
    _soap(call, before)
    return True


def said_of_machine(call: BenchCall, said: Sequence[sayings.Said]) -> bool:
    """All that a line says of how the machine is, at once: "front off, gas shut and unplugged" is one state."""
    k, before = call.visit.knowledge, call.visit.state
    items = {str(sayings.machine_item(k, each.name)): each.value == "off" for each in said}
    if sayings.opened_unshut(k, said, before):
        call.talk.tell(FOUND_SHUT, "?  ")
        return False
    try:
        call.visit.set_state(items)
    except FaultoddsError as unsafe:  # said of a machine that is live: how it is now has to be plain
        call.talk.tell(str(unsafe), "!! ")
        after = made_safe(k, frozenset(i for i in k.access if items.get(i, i in before)))
        call.tell_state(before, Guess(after, (after ^ before) & safety_items(k)))
        return True
    call.talk.tell(f"Noted: {', '.join(sayings.echo(each.name, each.value) for each in said)}.")
    _soap(call, before)
    return True


def _soap(call: BenchCall, before: Collection[str]) -> None:
    """The soap test, where gas was opened again."""
    access = call.visit.knowledge.access
    for item in (i for i in set(before) - call.visit.state if access[i].makes_safe == "gas"):
        call.talk.tell(access[item].close_step, "!! ")
