"""How each visit of a log ended: from its own words, and from the same customer calling again within the window."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from faultodds.joblog.clean import CAME_BACK, ENDINGS, GONE, REFERRED, UNKNOWN
from faultodds.joblog.followed import Ints, followed

CODE: Final = {ending: code for code, ending in enumerate(ENDINGS)}
NO_WORD: Final = -1
NOT_READ: Final = -2
"""Something is written, and not understood: neither held nor came back."""
FEW: Final = 3
"""So many callbacks, or one in a hundred visits, show that a log records them at all."""

SECOND: Final = 'In this log "callback" marks the second visit; the visit before it is the one that came back.'


@dataclass(frozen=True)
class Endings:
    """Codes of `ended` (places in `clean.ENDINGS`), days until the customer called again and days followed (NaN: not known),
    and sentences on how they came about; `return_of` names for each visit the one that came back with it (-1: none)."""

    ended: NDArray[np.int8]
    back_after: NDArray[np.float64]
    followed: NDArray[np.float64]
    notes: list[str]
    return_of: Ints


def endings(
    customer: NDArray[np.uint64],
    day: Ints,
    word: NDArray[np.int8],
    window_days: float,
    no_ending: str = "auto",
    second: bool | None = None,
    returned: NDArray[np.float64] | None = None,
    return_of: Ints | None = None,
) -> Endings:
    """Endings of visits, one array entry a visit.

    `customer` is a hash (0: not known), `day` a day number (negative: not known), `word` the code of what the log's own
    column says (`NO_WORD`: nothing; `NOT_READ`: what is not understood, and decides nothing). A visit came back when the
    customer has a later one within `window_days`, or when the log says so. `no_ending` says what a visit without either
    counts as: "gone", "unknown", or "auto": gone in a log that
    records callbacks, since there a silence means that nobody called. `second` says whether "callback" marks the second visit,
    where that is known from earlier files of the log; else the visits themselves tell. `returned` are the days to a return visit
    that is known without the customer (NaN: none), `return_of` the visit that each is the return of (-1: none).
    """
    gap, since = _gaps(customer, day)
    before = _before(customer, day)
    again = (gap <= window_days) & (
        word != CODE[UNKNOWN]
    )  # a visit that was not the last of its job is followed by no callback
    said_back = word == CODE[CAME_BACK]
    notes: list[str] = []
    marks_second = _marks_the_second_visit(said_back, again, since <= window_days) if second is None else second
    if marks_second:
        notes.append(SECOND)
        first = before[said_back]
        said_back = np.zeros_like(said_back)
        said_back[first[first >= 0]] = True
        word = np.where(word == CODE[CAME_BACK], NO_WORD, word).astype(np.int8)
    came_back = again | said_back
    word = np.where(word == NOT_READ, _unread(came_back, word, notes), word).astype(np.int8)
    ended = np.where(word == NO_WORD, _silence(came_back, word, no_ending, notes), word)
    broken_promise = int((again & (word == CODE[GONE])).sum())
    if broken_promise:
        notes.append(f"{_visits(broken_promise)} said to be done, but the customer called again in time: came back.")
    ended = np.where(came_back, CODE[CAME_BACK], ended).astype(np.int8)
    known = np.full(len(day), np.nan) if returned is None else returned
    back_after = np.where(again & came_back, gap, np.where(came_back, known, np.nan))
    unseen = int((came_back & np.isnan(back_after)).sum())
    if unseen:
        notes.append(f"{_visits(unseen)} came back by the log's own word, with no second visit to tell the day from.")
    by_customer = np.where((before >= 0) & (since > 0) & (since <= window_days), before, -1)
    told_of = by_customer if return_of is None else np.where(return_of >= 0, return_of, by_customer)
    return Endings(ended, back_after, followed(day), notes, told_of)


def recalled(
    word: NDArray[np.int8], jobs: NDArray[np.uint64], of: NDArray[np.uint64], day: Ints
) -> tuple[NDArray[np.int8], NDArray[np.float64], Ints, list[str]]:
    """The words on how visits ended, with `came_back` on those that a later row is the return visit of, and no longer on that row;
    where job numbers alone tell so the days to it (NaN: not known); the visit that each is the return of (-1: none); a sentence.

    `jobs` and `of` are hashes of job numbers, 0 where there is none; a row may name its own number: it is then the return visit of
    an earlier day's row with the same one, if there is one on which something was done.
    """
    linked = (of > 0) & (of != jobs)
    named = np.isin(jobs, of[linked]) & (jobs > 0)
    returns = linked & np.isin(of, jobs)
    visits: dict[int, list[int]] = {}
    for row in np.flatnonzero((jobs > 0) & (day >= 0)).tolist():
        visits.setdefault(int(jobs[row]), []).append(row)
    back_after, return_of = np.full(len(word), np.nan), np.full(len(word), -1, np.int64)
    for row in np.flatnonzero((of > 0) & (day >= 0)).tolist():
        before = [n for n in visits.get(int(of[row]), ()) if day[n] < day[row]]
        last = max(before, key=lambda n: int(day[n]), default=None)
        if last is None:
            continue
        if linked[row]:
            return_of[row] = last
        elif word[last] not in (CODE[UNKNOWN], CODE[REFERRED]):
            named[last], returns[row], back_after[last], return_of[row] = True, True, day[row] - day[last], last
    told = int((~np.isnan(back_after)).sum())
    found = np.where(returns & (word == CODE[CAME_BACK]), NO_WORD, word)
    note = f"{_visits(told)} came back by the job number: a later row has the same one and tells of a call back or a return."
    return np.where(named, CODE[CAME_BACK], found).astype(np.int8), back_after, return_of, [note] if told else []


def _visits(count: int) -> str:
    return f"{count:,} visit" + ("" if count == 1 else "s")


def _gaps(customer: NDArray[np.uint64], day: Ints) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Days to the same customer's next visit on a later day and since the one before; infinite where there is none."""
    known = np.flatnonzero((customer > 0) & (day >= 0))
    order = known[np.lexsort((day[known], customer[known]))]
    who, when = customer[order], day[order]
    new_run = np.ones(len(order), bool)
    new_run[1:] = (who[1:] != who[:-1]) | (when[1:] != when[:-1])
    run = np.cumsum(new_run) - 1  # visits of one customer on one day are one run
    starts = np.flatnonzero(new_run)
    run_who, run_when = who[starts], when[starts]
    to_next = np.full(len(starts), np.inf)
    same = run_who[1:] == run_who[:-1]
    steps = (run_when[1:] - run_when[:-1]).astype(float)
    to_next[:-1] = np.where(same, steps, np.inf)
    since = np.full(len(starts), np.inf)
    since[1:] = np.where(same, steps, np.inf)
    gap, before = np.full(len(day), np.inf), np.full(len(day), np.inf)
    gap[order], before[order] = to_next[run], since[run]
    return gap, before


def _before(customer: NDArray[np.uint64], day: Ints) -> Ints:
    """For each visit the same customer's visit before it, -1 where there is none."""
    known = np.flatnonzero((customer > 0) & (day >= 0))
    order = known[np.lexsort((day[known], customer[known]))]
    found = np.full(len(day), -1, np.int64)
    same = customer[order][1:] == customer[order][:-1]
    found[order[1:]] = np.where(same, order[:-1], -1)
    return found


def _marks_the_second_visit(said: NDArray[np.bool_], again: NDArray[np.bool_], was_before: NDArray[np.bool_]) -> bool:
    """Whether "callback" stands mostly on visits that follow one, rather than on those that are followed."""
    forward, backward = int((said & again).sum()), int((said & was_before & ~again).sum())
    return backward >= FEW and backward > forward


def _unread(came_back: NDArray[np.bool_], word: NDArray[np.int8], notes: list[str]) -> int:
    """The code of a visit with an ending written that is not understood."""
    count = int(((word == NOT_READ) & ~came_back).sum())
    if count:
        endings_ = "1 ending" if count == 1 else f"{count:,} endings"
        notes.append(f"{endings_} not told or not understood: counted neither as gone nor as came back.")
    return CODE[UNKNOWN]


def _silence(came_back: NDArray[np.bool_], word: NDArray[np.int8], no_ending: str, notes: list[str]) -> int:
    """The code of a visit with no ending written."""
    silent = int(((word == NO_WORD) & ~came_back).sum())
    if no_ending == "auto":
        seen = int(came_back.sum())
        no_ending = GONE if seen >= FEW or (seen and seen * 100 >= len(word)) else UNKNOWN
    if silent and no_ending == GONE:
        notes.append(
            f"{_visits(silent)} with no ending written count as gone, since the log records callbacks and there was none."
        )
    elif silent:
        notes.append(f"{_visits(silent)} with no ending written: how they ended is not known.")
    return CODE[no_ending]
