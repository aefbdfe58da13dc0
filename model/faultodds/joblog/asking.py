"""What only the shop can say of a column: asked before anything is imported, and never decided by a guess alone."""

from __future__ import annotations

from faultodds.joblog import by_values, callbacks, planned, ticked
from faultodds.joblog.likely import Sample, called_otherwise
from faultodds.joblog.mapping import Column
from faultodds.knowledge import Knowledge


def question(knowledge: Knowledge, column: Column, sample: Sample) -> str | None:
    """What is to be asked of a column that nobody has confirmed, and what to write in the mapping; None when nothing is."""
    seen = ", ".join(f"'{text}' {sample.counts[text]:,} times" for text in sample.texts[:3])
    if column.kind == "left_out" and sample.asks_unsaid:
        return (
            f"'{column.heading}' answers yes or no ({seen}) and no heading says to what: did the visit come back? If so write "
            'is = "ended" and assume = { yes = "came_back", blank = "gone" } for it'
        )
    blank = sample.rows - sum(sample.counts.values())
    if callbacks.blank_is_open(column, sample.counts, sample.rows):
        return (
            f"'{column.heading}' says {seen} and is blank on {blank:,} rows: is a blank a no? If so write "
            'assume = { yes = "gone", blank = "came_back" } for it; blank = "?" if a blank is not known'
        )
    if (
        column.kind == "repairs"
        and by_values.is_ticked(sample.counts)
        and ticked.names_a_part_alone(knowledge, column.heading)
    ):
        return (
            f"'{column.heading}' is ticked ({seen}) and does not say whether the part was fitted or found bad. It is taken for "
            'fitted; write is = "left_out" for it if it was not'
        )
    if column.kind == "repairs" and planned.tells(column.heading) == "either":
        return (
            f"'{column.heading}' names work done and work planned together ({seen}): a cell that does not say which is taken for "
            'done. If it was only planned, write is = "left_out" for it'
        )
    other = called_otherwise(knowledge, column, sample)
    if other is not None:
        return (
            f"column '{column.heading}' is taken for '{column.kind}' by its heading, and most of its cells read as '{other}'. "
            f'Write is = "{other}" for it if that is so'
        )
    return None
