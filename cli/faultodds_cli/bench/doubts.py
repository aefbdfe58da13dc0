"""What becomes of findings that do not fit what was found before, and of a yes or no to a question that a line brought."""

from __future__ import annotations

from faultodds.job import sayings
from faultodds.names import fold
from faultodds_cli.bench.call import BenchCall
from faultodds_cli.bench.commands import as_command, exact
from faultodds_cli.bench.machine import NO, YES

# Looking around settles nothing.
_LOOKS = frozenset({"help", "how", "why", "odds", "checks", "repairs", "symptoms", "state", "story", "undo", "note"})
_KEEP = frozenset({"keep", "keep it", "keep them", "yes", "y", "yes keep it", "sure", "it is so", "thats right"})
_LATER = frozenset(
    {"still to do", "to do", "not yet", "later", "its still to do", "not done", "not done yet", "tomorrow"}
)
_LEAVE_OUT = frozenset({"no", "n", "leave it out", "leave it", "leave out", "drop it"})


def settled(call: BenchCall, line: str) -> bool:
    """Whether a line was the answer to doubted findings. Any other entry leaves them out, which is said."""
    if not call.doubted or exact(as_command(line).split()[0]) in _LOOKS:
        return False
    answer = sayings.plain(line)
    if answer in _KEEP:
        doubted, call.doubted = call.doubted, []
        for each in doubted:
            call.enter(each.name, each.value, each.again, sure=True)
        return True
    call.talk.tell(f"Left out: {call.doubts_named()}.")
    call.doubted = []
    return answer in _LEAVE_OUT


def meant(call: BenchCall, line: str) -> str:
    """The line that a yes stands for, where `line` is a yes to the question before it; nothing for a no, which is said; any other
    line as it is."""
    means, call.if_yes = call.if_yes, ""
    if means and (fold(line) in YES or sayings.is_yes(means, line)):
        return means
    if means and (fold(line) in NO or sayings.plain(line) in _LATER):
        call.talk.tell("Not so, or not yet: nothing was noted of it. note and the words keep a remark.")
        return ""
    return line
