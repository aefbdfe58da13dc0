"""What a fault does to the machine, step by step, read off the network's own structure."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from faultodds.belief import Suspects
from faultodds.knowledge import Knowledge


class Link(Struct, frozen=True):
    """One mechanism that is not as it should be: its state in words, and what brought it there (titles, the fault itself "")."""

    mechanism: str
    title: str
    state: str
    because: tuple[str, ...]


def chain(k: Knowledge, s: Suspects, mode: str) -> list[Link]:
    """Every mechanism that a fault alone puts out of its normal state, causes before what they bring."""
    states = _states(k, s, mode)
    there = {mode} | {f"{name}.{state}" for name, state in states.items()}
    links = []
    for name, state in states.items():
        record = k.mechanism[name]
        causes = [c for c in record.causes if c in there and c != f"{name}.{state}"]
        acting = [c for c in causes if isinstance(record.causes[c], int) or record.causes[c] == state]
        because = tuple("" if c == mode else c.partition(".")[0] for c in (acting or causes))
        links.append(Link(name, record.title, record.states[state], because))
    return links


def _states(k: Knowledge, s: Suspects, mode: str) -> Mapping[str, str]:
    """Mechanism -> its state, for those that the mode alone moves; causes first."""
    alone = np.flatnonzero((s.member.sum(axis=1) == 1) & s.member[:, s.mode_index[mode]])
    if not len(alone):
        return {}
    found = {}
    for row, (name, states) in zip(s.mechanism, s.mechanism_states.items(), strict=True):
        state = states[int(row[int(alone[0])])]
        if state != states[0] and name in k.mechanism:
            found[name] = state
    return found


def told(links: list[Link]) -> str:
    """The chain in words, one sentence from what is moved first to what is moved last."""
    titles = {link.mechanism: link.title for link in links}
    parts, last = [], ""
    for link in links:
        inner = [titles[b] for b in link.because if b and b != last]
        by = f" (by {' and '.join(inner)})" if inner and link.because else ""
        parts.append(f"{link.title}: {link.state}{by}")
        last = link.mechanism
    return " -> ".join(parts)
