"""How the proposed mapping of a job log looks on a terminal."""

from __future__ import annotations

import string
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from faultodds_cli.shared.text import WIDEST, fitted, listed, width, wrap

if TYPE_CHECKING:
    from faultodds.joblog import Column, Draft, Keeper
    from faultodds.knowledge import Knowledge

EXAMPLES = 3
DOUBTFUL = 0.7
TAKEN_FOR = 34
_DIGITS, _LETTERS = string.digits, string.ascii_letters + "-#/ "
_NUMBERS = ("day", "minutes", "bill", "fact", "finding", "verify")
_KIND_WORDS = {
    "job": "the job's number",
    "customer": "customer, to find callbacks",
    "day": "day of the visit",
    "technician": "technician",
    "branch": "branch",
    "complaint": "complaint: symptoms in words",
    "repairs": "repairs done",
    "recalled": "the job that it is a return visit of",
    "machine": "which appliance",
    "findings": "what was found, in words",
    "notes": "notes, in words",
    "verify": "the run after the repair",
    "ended": "how it ended",
    "minutes": "minutes on the job",
    "bill": "the bill",
    "left_out": "left out",
    "personal": "personal, left out",
}


def mapping_lines(draft: Draft, knowledge: Knowledge) -> list[str]:
    """What each column is taken for, how sure that is, and a few of its cells."""
    from faultodds.joblog import Keeper, samples

    keeper = Keeper(knowledge)

    head = f"{draft.source.name}: {draft.found.rows:,} rows, {len(draft.source.headings)} columns "
    lines = wrap(f"{head}({'; '.join(draft.source.notes)}).")
    lines += ["", *([] if width() < WIDEST else [f"{'column':14} {'sure':>5}  {'taken for':{TAKEN_FOR}} for example"])]
    for column, sample in zip(draft.mapping.columns, samples(draft.source.headings, draft.found.sample), strict=True):
        hidden = column.kind in ("personal", "customer", "left_out", "complaint")
        shown = "" if hidden else _fitting(_plain(column, sample.texts, keeper)[:EXAMPLES])
        lines += _mapping_lines(column, shown)
    assumed = [f"{c.heading}: {name} = {value}" for c in draft.mapping.columns for name, value in c.assume.items()]
    lines += _block("Taken as given, since the cells do not say", assumed)
    lines += _block("Words not known yet", _unknown_words(draft.mapping.columns))
    return lines


def _plain(column: Column, texts: Iterable[str], keeper: Keeper) -> list[str]:
    """The texts that may be shown; numbers where the column is of numbers."""
    if column.kind == "job":  # "HL-1005": the letters in front say nothing of the number
        return [t for t in texts if keeper.is_plain(t.rstrip(_DIGITS)) and keeper.is_plain(t.lstrip(_LETTERS), True)]
    return [text for text in texts if keeper.is_plain(text, measured=column.kind in _NUMBERS)]


def _mapping_lines(column: Column, examples: str) -> list[str]:
    what = " + ".join(column.of) or _KIND_WORDS[column.kind]
    why = f" ({column.why})" if column.kind in ("personal", "left_out") and column.why else ""
    sure = "" if column.kind in ("personal", "left_out") else f"{100 * column.sure:.0f} %"
    doubt = "?" if sure and column.sure < DOUBTFUL else " "
    if width() < WIDEST:
        return listed(f"{column.heading}: {what}{why}", ("sure", "for example"), (f"{sure}{doubt}", examples))
    return [
        f"{column.heading[:14]:14} {sure:>5}{doubt} {fitted(what + why, TAKEN_FOR):{TAKEN_FOR}} {examples}".rstrip()
    ]


def _fitting(examples: Sequence[str]) -> str:
    """As many examples as there is room for."""
    room = WIDEST - 14 - 8 - TAKEN_FOR
    shown = ""
    for example in examples:
        longer = f"{shown}, {example}" if shown else example
        if len(longer) > room:
            break
        shown = longer
    return shown or (examples[0][: room - 2] + ".." if examples else "")


def _unknown_words(columns: Iterable[Column]) -> list[str]:
    return [f"{c.heading}: '{word}'" for c in columns for word, meaning in c.words.items() if meaning == "?"]


def _block(title: str, items: Sequence[str], most: int = 12) -> list[str]:
    if not items:
        return []
    more = [f"  and {len(items) - most} more, in the mapping"] if len(items) > most else []
    return ["", f"{title}:", *(line for item in items[:most] for line in wrap(item, "  ")), *more]
