"""Proposing a mapping: what each column of a shop's log most likely is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from faultodds.job import asked
from faultodds.joblog import by_values, callbacks, dates, personal, planned, ticked
from faultodds.joblog.cells import CellReader, pieces_to_ask
from faultodds.joblog.lexicon import of_target
from faultodds.joblog.likely import (
    FREE,
    LEAST,
    Sample,
    Scores,
    Target,
    answers,
    assumed,
    headings_of,
    own_word,
)
from faultodds.joblog.mapping import NOT_KNOWN, Column, Kind, LogMapping
from faultodds.joblog.stems import likeness, tokens, vocabulary
from faultodds.knowledge import Knowledge

MORE: Final = 0.03
MORE_CELLS: Final = 5
"""A second check is taken into a column when so many of its cells, and this share of them, speak of that one only."""
WORDS_KEPT: Final = 60
MOST_ROWS: Final = 0.5
SAME_HEADING: Final = 0.75
FREE_TEXT: Final[Target] = ("notes", "")


def propose(knowledge: Knowledge, columns: Sequence[Sample]) -> LogMapping:
    """The likeliest mapping of a log: every column is something, if only left out."""
    scores = Scores(knowledge)
    chosen: dict[int, tuple[float, Target]] = {}
    private: dict[int, str] = {}
    for place, sample in enumerate(columns):
        kind = personal.kind_of(sample.heading, sample.counts, scores.names(sample))
        if kind is not None and not _is_no_customer(sample, kind):
            private[place] = kind
    asking = {
        place: asked for place in range(len(columns)) if place not in private and (asked := _asks(columns, place))
    }
    free = [place for place in range(len(columns)) if place not in private and place not in asking]
    ranked = sorted(
        ((score, place, target) for place in free for target, score in scores.of(columns[place]).items()),
        key=lambda entry: (-entry[0], entry[1], entry[2]),
    )
    taken: set[Target] = set()
    ranked = [entry for entry in ranked if not by_values.is_another_time(columns[entry[1]].heading)]
    for score, place, target in ranked:
        if score >= LEAST and place not in chosen and target not in taken:
            chosen[place] = (score, target)
            taken |= set() if target[0] in (*FREE, "ended", "minutes") else {target}
    extras = _extras(knowledge, columns, chosen, taken)
    people = {place for place, (_, target) in chosen.items() if target[0] in ("customer", "technician")}
    keeper = personal.Keeper(knowledge)
    for place in {*people, *private}:
        keeper.meet(text for text in columns[place].counts if not personal.is_code(text))
    for place in free:
        score, target = chosen.get(place, (0.0, FREE_TEXT))
        ticks = ticked.proposed(knowledge, columns[place])
        no_reading = target[0] == "finding" and by_values.is_zeros_and_ones(columns[place].counts)
        if no_reading:
            asking[place] = ticks if ticks and ticks.kind == "repairs" else ticked.unsaid(columns[place])
        elif ticks and (target[0] in FREE or ticks.sure > score):
            asking[place] = ticks
        if _is_of_plans(columns[place], asking.get(place), target):
            asking[place] = Column(columns[place].heading, "left_out", why=planned.WHY)
    made = [
        asking[place]
        if place in asking
        else _column(knowledge, sample, chosen.get(place), extras.get(place, ()), private.get(place), keeper)
        for place, sample in enumerate(columns)
    ]
    return LogMapping(knowledge.appliance.id, tuple(_with_customer(made, columns)))


def _is_of_plans(sample: Sample, asking: Column | None, target: Target) -> bool:
    """Whether a column of work, findings or notes is by its heading of work that was not done: "Parts on order", "Quoted"."""
    kind = asking.kind if asking else target[0]
    return kind in (*FREE, "left_out") and kind != "complaint" and planned.tells(sample.heading) == "planned"


def _asks(columns: Sequence[Sample], place: int) -> Column | None:
    """A column that asks whether the visit held, or names the job that came back; None for any other."""
    sample = columns[place]
    if callbacks.refers(sample.heading, sample.texts, [s.counts for n, s in enumerate(columns) if n != place]):
        return Column(sample.heading, "recalled")
    if callbacks.is_reason(sample.heading):
        return Column(sample.heading, "left_out", why="about the visit that came after")
    asked = callbacks.asks(sample.heading, sample.counts)
    return (
        Column(sample.heading, "ended", assume=callbacks.assumed(asked, sample.counts, sample.rows)) if asked else None
    )


def _is_no_customer(sample: Sample, kind: str) -> bool:
    """Whether what looks personal is a day, or the technician's name, which is kept as a code of ours."""
    technician = any(likeness(tokens(sample.heading), tokens(h)) >= 0.9 for h in vocabulary()["headings"]["technician"])
    return (kind == "name" and technician) or dates.share_of_dates(sample.texts) >= 0.5


def _with_customer(columns: list[Column], seen: Sequence[Sample]) -> list[Column]:
    """Without a customer number, a telephone number or address tells who called again, where most rows have one; it is kept in
    memory only."""
    if any(column.kind == "customer" for column in columns):
        return columns
    for wanted in ("phone", "e-mail", "address", "name"):
        for place, column in enumerate(columns):
            most = sum(seen[place].counts.values()) >= MOST_ROWS * seen[place].rows
            if column.kind == "personal" and column.why == wanted and most:
                columns[place] = replace(
                    column, kind="customer", why=f"{wanted}: only used to find callbacks, never stored"
                )
                return columns
    return columns


# --- more than one check in a column ---


def _extras(
    knowledge: Knowledge,
    columns: Sequence[Sample],
    chosen: Mapping[int, tuple[float, Target]],
    taken: set[Target],
) -> dict[int, tuple[str, ...]]:
    """Facts or checks that a column speaks of besides the one chosen, by heading and by words only they have."""
    found: dict[int, tuple[str, ...]] = {}
    for place, (_, (kind, name)) in sorted(chosen.items()):
        if kind not in ("fact", "finding") or not columns[place].counts:
            continue
        more = _also_in(knowledge, columns[place], (kind, name), taken)
        taken |= {(kind, each) for each in more}
        if more:
            found[place] = more
    return found


def _also_in(knowledge: Knowledge, sample: Sample, first: Target, taken: set[Target]) -> tuple[str, ...]:
    """What else one column speaks of besides `first`."""
    kind, name = first
    more: list[str] = []
    unread = _unread(knowledge, kind, (name,), sample)
    for rival in _family(knowledge, kind):
        if rival in taken:
            continue
        if _shares_heading(knowledge, sample, first, rival) or _gain(knowledge, unread, sample, rival):
            more.append(rival[1])
            unread = _unread(knowledge, kind, (name, *more), sample)
    return tuple(more)


def _family(knowledge: Knowledge, kind: Kind) -> list[Target]:
    names = asked(knowledge) if kind == "fact" else knowledge.check
    return [(kind, name) for name in names if name != knowledge.costs.verify]


def _plain(knowledge: Knowledge, kind: Kind, names: tuple[str, ...], sample: Sample) -> Column:
    return Column(sample.heading, kind, names, assume=assumed(knowledge, (kind, names[0]), sample))


def _shares_heading(knowledge: Knowledge, sample: Sample, first: Target, second: Target) -> bool:
    """Whether the heading is one that both go by, so that either may stand in the column."""
    words = tokens(sample.heading)
    return all(words in headings_of(knowledge, target) for target in (first, second))


def _unread(knowledge: Knowledge, kind: Kind, names: tuple[str, ...], sample: Sample) -> Counter[str]:
    """The pieces of a column's cells that are not understood, and how often they stand there."""
    reader = CellReader(_plain(knowledge, kind, names, sample), knowledge)
    left: Counter[str] = Counter()
    for text in sample.texts:
        left.update(dict.fromkeys(reader.read(text).left, sample.counts[text]))
    return left


def _gain(knowledge: Knowledge, unread: Counter[str], sample: Sample, rival: Target) -> bool:
    """Whether enough of the pieces that are not understood are words of the rival's own."""
    needed = max(MORE_CELLS, MORE * sum(sample.counts[text] for text in sample.texts))
    if unread.total() < needed:
        return False
    lexicon = of_target(knowledge, ("fact:" if rival[0] == "fact" else "found:") + rival[1])
    return sum(n for piece, n in unread.items() if own_word(lexicon, piece)) >= needed


# --- the column as it goes into the mapping ---


def _column(
    knowledge: Knowledge,
    sample: Sample,
    chosen: tuple[float, Target] | None,
    extras: tuple[str, ...],
    private: str | None,
    keeper: personal.Keeper,
) -> Column:
    if private is not None:
        return Column(sample.heading, "personal", sure=1.0, why=private)
    if chosen is None:
        why = "yes or no, to what?" if sample.asks_unsaid else "not recognised" if sample.counts else "empty"
        why = "money, and not the bill" if by_values.is_money(sample.heading, sample.texts, sample.counts) else why
        return Column(sample.heading, "left_out", sure=0.0, why=why)
    score, (kind, name) = chosen
    names = _in_order(knowledge, kind, (name, *extras)) if name else ()
    column = Column(
        sample.heading,
        kind,
        names,
        _leads(knowledge, kind, names, sample.heading),
        assumed(knowledge, (kind, name), sample),
        sure=round(score, 2),
    )
    if kind == "technician":
        return replace(column, words={code: code for code in personal.codes(sample.counts)})
    if kind == "branch":
        return replace(column, words={text: text for text in keeper.branches(sample.counts)})
    if len(names) == 1:
        column = replace(column, words=answers(knowledge, (kind, names[0]), sample))
    return replace(column, words={**column.words, **words_seen(knowledge, column, sample.counts, keeper)})


def _in_order(knowledge: Knowledge, kind: Kind, names: tuple[str, ...]) -> tuple[str, ...]:
    order = list(asked(knowledge)) if kind == "fact" else list(knowledge.observables)
    return tuple(sorted(names, key=order.index))


def _leads(knowledge: Knowledge, kind: Kind, names: tuple[str, ...], heading: str) -> tuple[str, ...]:
    """Of several checks those that the heading names as well as any: a plain "ok" is about them."""
    if len(names) < 2 or kind != "finding":
        return ()
    fits = {n: max(likeness(tokens(heading), other) for other in _own_headings(knowledge, n)) for n in names}
    best = max(fits.values())
    return tuple(n for n in names if fits[n] >= best - 0.05 and best >= SAME_HEADING)


def _own_headings(knowledge: Knowledge, name: str) -> list[tuple[str, ...]]:
    # The check's name and title only: the list of headings also has those that several checks share.
    title = knowledge.observables[name].title
    words = [tokens(name.replace("_", " ")), tokens(title)]
    return [*words, *[(word,) for group in words for word in group]]


def words_seen(
    knowledge: Knowledge, column: Column, counts: Mapping[str, int], keeper: personal.Keeper
) -> dict[str, str]:
    """The words of a column that were guessed at or are not known, commonest first, for the mapping file.

    Words of the trade's vocabulary need no mention, and what may be about one person only is never written down.
    """
    if column.kind not in ("fact", "finding", *FREE, "verify", "ended"):
        return {}
    reader = CellReader(column, knowledge)
    seen: Counter[str] = Counter()
    meant: dict[str, str] = {}
    for text, count in counts.items():
        cell = reader.read(text)
        for piece in pieces_to_ask(cell):
            seen[piece] += count
            meant[piece] = NOT_KNOWN
        if (
            cell.status == "mended"
            and cell.note == "spelling"
            and not cell.left
            and ";" not in text
            and "," not in text
        ):
            seen[text] += count
            meant[text] = ";".join(_said(column, pair) for pair in cell.said)
    kept = keeper.kept(seen)
    return {piece: meant[piece] for piece, _ in kept.most_common(WORDS_KEPT)}


def _said(column: Column, pair: tuple[str, str]) -> str:
    target, value = pair
    name = target.partition(":")[2]
    return f"{name}={value}" if name and (len(column.of) > 1 or column.kind in FREE) else value
