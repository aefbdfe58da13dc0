"""How job logs look on a terminal: the proposed mapping, the cleaning report, the list, what a log holds."""

from __future__ import annotations

import string
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from faultodds_cli.shared.text import WIDEST, bar, fitted, labelled, listed, width, wrap

if TYPE_CHECKING:
    from faultodds.joblog import CleaningReport, Column, ColumnSeen, Description, Draft, Keeper, LogFiles
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
    "complaint": "complaint: symptoms in words",
    "repairs": "repairs done",
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


def report_lines(report: CleaningReport, files: LogFiles) -> list[str]:
    """The cleaning report, where its files are, and what to type next."""
    from faultodds.joblog import lines

    shown = [part for line in lines(report) for part in wrap(line.strip(), " " * (len(line) - len(line.lstrip())))]
    aside = [f"Rows set aside: {files.aside}"] if report.set_aside and files.aside.exists() else []
    phrases = [f"Every phrase and what it became, to tick off; give it back with --phrases: {files.phrases}"]
    mapping = [f"Mapping, to change and import again: {files.mapping}"] if files.mapping.exists() else []
    return [
        *shown,
        "",
        f"Clean log: {files.clean}",
        *aside,
        *mapping,
        *(phrases if files.phrases.exists() else []),
        f"Look at it: faultodds log describe {report.log}",
    ]


def list_lines(logs: Sequence[Mapping[str, Any]]) -> list[str]:
    """The logs there are, one line each."""
    heads = ("visits", "from", "to", "imported", "file")
    rows = []
    for log in logs:
        days = [str(log[name] or "-") for name in ("first_day", "last_day", "imported_at")]
        rows.append((str(log["log"]), [f"{log['visits']:,}", *days, str(log["source"])]))
    if width() < WIDEST:
        return [line for name, cells in rows for line in listed(name, heads, cells)]
    table = [("log", heads), *rows]
    return [f"{name:24} {n:>8}  {a:10}  {b:10}  {at:10}  {file}".rstrip() for name, (n, a, b, at, file) in table]


# --- what is in a log ----------------------------------------------------------------------------------------------


def describe_lines(log: str, found: Description, knowledge: Knowledge) -> list[str]:
    """A log in figures."""
    lines = _overview(log, found)
    lines += ["", "Findings (visits on which each is known, and what it showed):"]
    observables = knowledge.observables()
    for name in sorted(found.found, key=lambda n: -found.found[n].known):
        order = list(observables[name].outcomes) if name in observables else list(found.found[name].answers)
        lines += _seen_lines(name, found.found[name], found.visits, order)
    lines += _bad_only_lines(found, knowledge)
    if found.after:
        lines += ["", "Run after the repair: " + _parts(found.after)]
    lines += ["", "Repairs:"]
    for name, n in found.repairs.most_common():
        lines += labelled(
            f"  {name:20} ",
            f"{n:>6,}{_back(found, name, n)}".strip() if width() < WIDEST else f"{n:>6,}{_back(found, name, n)}",
            23,
        )
    lines.append(f"  no repair written on {found.no_repair:,} visits")
    lines += ["", "Facts:"]
    for name, seen in found.facts.items():
        lines += labelled(f"  {name:16} ", f"{_of(seen.known, found.visits)}  {_parts(seen.answers)}", 19)
    return lines


def _overview(log: str, found: Description) -> list[str]:
    months = sorted(found.months)
    span = f", {months[0]} to {months[-1]}" if months else ""
    lines = [f"{log}: {found.visits:,} visits{span}."]
    lines += [
        f"  {month}  {bar(found.months[month] / max(found.months.values()))} {found.months[month]:,}"
        for month in months
    ]
    lines += [f"No visits from {a} to {b} ({n} days)." for a, b, n in found.gaps]
    if found.without_day:
        lines.append(f"{found.without_day:,} visits have no day.")
    if found.technicians:
        lines += wrap("Technicians: " + _parts(found.technicians))
    lines.append("Ended: " + _parts(found.ended))
    if found.back_after:
        days = sorted(found.back_after)
        lines.append(
            f"Callbacks with a second visit: {len(days):,}, half of them within {days[len(days) // 2]:.0f} days."
        )
    return lines


def _seen_lines(name: str, seen: ColumnSeen, visits: int, order: Sequence[str]) -> list[str]:
    answers = Counter({outcome: seen.answers[outcome] for outcome in order if seen.answers[outcome] >= 0.5})
    told = ", ".join(f"{outcome} {n:,.0f}" for outcome, n in answers.items())
    return labelled(f"  {name:24} ", f"{_of(seen.known, visits)}  {told}", 27)


def _of(known: int, visits: int) -> str:
    return f"{100 * known / visits if visits else 0:3.0f} %"


def _parts(counts: Counter[str]) -> str:
    return ", ".join(f"{name} {n:,.0f}" for name, n in counts.most_common())


def _back(found: Description, name: str, done: int) -> str:
    back = found.back_by_repair[name]
    return f"   came back {back:,} ({100 * back / done:.0f} %)" if back and done else ""


def _bad_only_lines(found: Description, knowledge: Knowledge) -> list[str]:
    checks = [name for name in found.bad_only if name in knowledge.check]
    symptoms = [name for name in found.bad_only if name in knowledge.symptom]
    lines: list[str] = []
    if symptoms:
        lines += wrap(
            f"Written down only when they were there: {', '.join(symptoms)}. A blank may mean that nobody asked; learning "
            "takes note of it."
        )
    if checks:
        lines += wrap(
            f"Hardly a normal result is written down for: {', '.join(checks)}. A blank there may mean not done, or done and "
            "fine; learning takes note of it. Writing down 'ok' as well would tell more."
        )
    return ["", *lines] if lines else []
