"""A revision on the screen: where its numbers come from, what moved, the table; and the same as plain data."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from io import StringIO
from typing import TYPE_CHECKING, Any

from faultodds.names import capital, rounded
from faultodds.tuning import ENOUGH, KIND_TITLES, Item, items, movers, of_kind, sentence, shown, span
from faultodds_cli.shared.printing import say, say_json
from faultodds_cli.shared.show_contradictions import contradiction_lines, kept_together
from faultodds_cli.shared.text import LEAST_BESIDE, listed, paragraphs, width, wrap
from faultodds_cli.tune.causes import cause_answer, cause_lines
from faultodds_cli.tune.options import Asked, appliance_again

if TYPE_CHECKING:
    from pathlib import Path

    from faultodds.joblog import CleaningReport
    from faultodds.knowledge import Knowledge
    from faultodds.revisions import Difference, LogSource, Revision


def say_revision(
    k: Knowledge, revision: Revision, status: str, asked: Asked, head: Sequence[str] = (), foot: Sequence[str] = ()
) -> None:
    """Draw and print one revision as asked; `head` goes with its provenance, `foot` comes last."""
    drawn = "" if asked.figure is None else draw(k, revision, asked.kind, asked.figure)
    if asked.as_json:
        say_json(revision_answer(k, revision, status))
        return
    provenance, *blocks = revision_lines(k, revision, asked.kind, asked.top)
    first = contradiction_lines(revision)
    say(paragraphs([first, [*provenance, *head], *blocks, wrap(drawn) if drawn else [], foot]))


def revision_lines(k: Knowledge, revision: Revision, about: str, top: int) -> list[list[str]]:
    """Blocks of lines: provenance, what moved, the table of one kind, and what there is to know."""
    found = items(k, revision.numbers)
    return [
        provenance_lines(revision),
        mover_lines(found),
        cause_lines(k, revision, top)
        if about == "causes" and of_kind(found, about)
        else table_lines(found, about, top),
        note_lines(revision.notes),
    ]


def read_lines(report: CleaningReport | None) -> list[str]:
    """What was read of a log, in short: danger and alarms first, then how much was understood."""
    from faultodds.joblog import lines

    if report is None:
        return []
    short = [line for line in lines(report) if not line.startswith(("Personal", "Dates"))]
    shown = [part for line in short for part in wrap(line.strip(), " " * (len(line) - len(line.lstrip())))]
    return [*shown, *wrap(f"How every phrase was read: faultodds log phrases {report.log}")]


def provenance_lines(revision: Revision) -> list[str]:
    """What this revision was learned from, and how."""
    lines = wrap(
        f"REVISION {revision.id} of {revision.appliance}, learned {revision.made_at.astimezone():%Y-%m-%d %H:%M} from "
        f"{source_words(revision.log)}."
    )
    told = settings_words(revision)
    return lines + (wrap(f"Settings: {told}.", "  ", "    ") if told else [])


def settings_words(revision: Revision) -> str:
    """How a revision was learned."""
    return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in revision.settings.items())


def source_words(log: LogSource) -> str:
    """A log in words: how many jobs, which log, from when to when."""
    days = f", {log.first_day} to {log.last_day}" if log.first_day else ""
    return f"{log.jobs:,} jobs of '{log.name}'{days} (content {log.sha256[:12]})"


def mover_lines(found: Sequence[Item]) -> list[str]:
    """The numbers that moved most, in sentences."""
    told = movers(found)
    if not told:
        return wrap("WHAT MOVED: nothing for sure. The log agrees with the file's numbers, or is too short to tell.")
    return ["WHAT MOVED MOST", *(line for item in told for line in kept_together(capital(sentence(item))))]


def table_lines(found: Sequence[Item], about: str, top: int) -> list[str]:
    """The numbers of one kind, with their intervals, and how many jobs spoke to each."""
    chosen = of_kind(found, about)
    if not chosen:
        return wrap(f"No numbers on {KIND_TITLES[about]} were learned.")
    rows = [_row(item) for item in chosen[:top]]
    lines = [
        KIND_TITLES[about].upper(),
        *plain_table([("", "left"), *((h, "right") for h in ("file", "learned", "90 % interval", "jobs"))], rows),
    ]
    if len(chosen) > top:
        lines += wrap(f"  and {len(chosen) - top} more; --top {len(chosen)} shows them all.")
    return lines + _star(chosen[:top])


def _star(shown: Sequence[Item]) -> list[str]:
    """What the star beside a number means."""
    if not any(item.moved for item in shown):
        return []
    if all(item.low is None for item in shown):
        return [f"  * moved, with {ENOUGH:g} jobs or more behind it."]
    return ["  * the file's number lies outside the interval."]


def _row(item: Item) -> list[str]:
    between = span(item) if item.low is not None else "not computed"
    jobs = "" if item.jobs is None else f"{item.jobs:,.0f}"
    star = "*" if item.moved else " "
    return [f"{star} {item.title}", shown(item, item.file), shown(item, item.learned), between, jobs]


def plain_table(columns: Sequence[tuple[str, str]], rows: Iterable[Sequence[str]]) -> list[str]:
    """A table without lines or colour that fits the width; the first column gives way and is broken."""
    from rich import box
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1), expand=False)
    for number, (name, side) in enumerate(columns):
        justify: Any = side
        table.add_column(name, justify=justify, no_wrap=number > 0, overflow="fold")
    body = [list(row) for row in rows]
    labels = [name for name, _ in columns[1:]]
    taken = sum(2 + max(len(r[c]) for r in (*body, [n for n, _ in columns])) for c in range(1, len(columns)))
    room = width() - taken - 4
    if room < LEAST_BESIDE:
        return [line for first, *others in body for line in listed(first.strip(), labels, others)]
    for first, *others in body:
        hung = "\n".join(wrap(first, "", "    ", room))
        table.add_row(*(Text(cell) for cell in (hung, *others)))
    out = StringIO()
    Console(file=out, width=width(), color_system=None, force_terminal=False, legacy_windows=False).print(table)
    ruled = [line.rstrip() for line in out.getvalue().splitlines()]
    return [line.replace("─", "-") for line in ruled if line]


def note_lines(notes: Sequence[str]) -> list[str]:
    """What learning and drift had to say."""
    return ["TO KNOW", *(line for note in notes for line in kept_together(note))] if notes else []


def next_lines(revision: Revision, log: str, appliance: str, data: str | None = None) -> list[str]:
    """What to type after `tune`; `data` is where the log was looked for."""
    more = appliance_again(revision.appliance, appliance)
    return [
        f"Kept as a proposal: {revision.id}. Advice still uses what was accepted. Next:",
        f"  faultodds revision diff {revision.id}{more}",
        f"  faultodds audit {log} --revision {revision.id}{more}{f' --data {data}' if data else ''}",
        f"  faultodds revision accept {revision.id}{more}",
    ]


def difference_lines(
    k: Knowledge, found: Sequence[Difference], names: tuple[str, str], about: str, top: int
) -> list[str]:
    """Two revisions against each other, one kind of numbers at a time."""
    one, other = names
    ranked = of_kind(_as_items(k, found), about)
    counts = {kind: len(of_kind(_as_items(k, found), kind)) for kind in KIND_TITLES}
    lines = wrap(
        f"{one} against {other}: {len(found)} numbers differ." if found else f"{one} and {other} are the same."
    )
    if ranked:
        ranked = sorted(ranked, key=lambda i: -i.news)
        heads = [("", "left"), (other, "right"), (one, "right"), ("change", "right")]
        rows = [[f"  {i.title}", shown(i, i.file), shown(i, i.learned), _change(i)] for i in ranked[:top]]
        lines += ["", f"{KIND_TITLES[about].upper()}; most changed first", *plain_table(heads, rows)]
        lines += (
            wrap(f"  and {len(ranked) - top} more; --top {len(ranked)} shows them all.") if len(ranked) > top else []
        )
    others = [f"{kind} ({count})" for kind, count in counts.items() if count and kind != about]
    return lines + (["", *wrap(f"Also changed: {', '.join(others)}. See them with --about KIND.")] if others else [])


def _as_items(k: Knowledge, found: Sequence[Difference]) -> list[Item]:
    """Differences as items: the first one's number as learned, the other's in the file's place."""
    from faultodds.revisions import Number

    return items(k, {d.path: Number(d.one, d.other, d.low, d.high, d.jobs) for d in found})


def _change(item: Item) -> str:
    if not item.file:
        return "new"
    return f"x {item.learned / item.file:.2f}"


def draw(k: Knowledge, revision: Revision, about: str, path: Path) -> str:
    """Draw the forest plot of one kind of numbers; what was drawn, in words."""
    from faultodds.charts import forest

    chosen = of_kind(items(k, revision.numbers), about)
    title = f"{capital(k.appliance.title)}: what {revision.log.jobs:,} jobs teach, beside the knowledge file"
    words = f"{KIND_TITLES[about]}{'' if about == 'facts' else ', %'} (revision {revision.id})"
    drawn = forest(chosen, title, words, path)
    rest = f" (the first {drawn} of {len(chosen)})" if drawn < len(chosen) else ""
    return f"Wrote {path}{rest}."


# --- as plain data -------------------------------------------------------------------------------------------------


def revision_answer(k: Knowledge, revision: Revision, status: str) -> dict[str, Any]:
    """The object that `--json` prints for a revision; shares and chances from 0 to 1."""
    found = items(k, revision.numbers)
    return {
        **header_answer(revision, status),
        "movers": [{**item_answer(item), "text": sentence(item)} for item in movers(found)],
        "numbers": [item_answer(i) | (cause_answer(revision, i) if i.kind == "causes" else {}) for i in found],
    }


def header_answer(revision: Revision, status: str) -> dict[str, Any]:
    """Provenance as plain data."""
    log = revision.log
    return {
        "revision": revision.id,
        "appliance": revision.appliance,
        "status": status,
        "made_at": revision.made_at.isoformat(),
        "fingerprint": revision.fingerprint,
        "log": {name: getattr(log, name) for name in type(log).__dataclass_fields__},
        "settings": revision.settings,
        "contradictions": list(revision.contradictions),
        "notes": list(revision.notes),
    }


def item_answer(item: Item) -> dict[str, Any]:
    """One number as plain data."""
    fields = {name: getattr(item, name) for name in ("file", "learned", "low", "high", "jobs", "draws")}
    values = {name: None if value is None else rounded(value) for name, value in fields.items()}
    return {"path": item.path, "kind": item.kind, "title": item.title, **values, "moved": item.moved}
