"""What becomes of findings that do not fit what was found before: kept, left out, or tried again when an older one is gone."""

from __future__ import annotations

from faultodds.job import sayings
from faultodds_cli.bench.call import BenchCall
from faultodds_cli.bench.commands import as_command, exact

# Looking around settles nothing.
_LOOKS = frozenset({"help", "how", "why", "odds", "checks", "repairs", "symptoms", "state", "story", "undo", "note"})
_KEEP = frozenset({"keep", "keep it", "keep them", "yes", "y", "yes keep it", "sure", "it is so", "thats right"})
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
