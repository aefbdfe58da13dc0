"""How job logs look on a terminal: the proposed mapping, the cleaning report, the list, what a log holds."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from faultodds_cli.shared.text import WIDEST, bar, labelled, listed, width, wrap

if TYPE_CHECKING:
    from pathlib import Path

    from faultodds.joblog import CleaningReport, ColumnSeen, Description, LogFiles, Phrase
    from faultodds.knowledge import Knowledge

LOOKED_AT = 12
"""Phrases to be looked at first that are shown however few are asked for: more than that nobody looks at."""
SAYS = {"-": "says nothing", "?": "not understood"}


def report_lines(report: CleaningReport, files: LogFiles) -> list[str]:
    """The cleaning report, where its files are, and what to type next."""
    from faultodds.joblog import lines

    shown = [part for line in lines(report) for part in wrap(line.strip(), " " * (len(line) - len(line.lstrip())))]
    aside = [f"Rows set aside: {files.aside}"] if report.set_aside and files.aside.exists() else []
    phrases = [f"How every phrase was read, to look over: faultodds log phrases {report.log}"]
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
    damaged = [line for log in logs if log["damaged"] for line in wrap(f"Log '{log['log']}': {log['damaged']}")]
    for log in logs:
        days = [str(log[name] or "-") for name in ("first_day", "last_day", "imported_at")]
        count = "damaged" if log["damaged"] else f"{log['visits']:,}"
        rows.append((str(log["log"]), [count, *days, str(log["source"])]))
    if width() < WIDEST:
        return [*(line for name, cells in rows for line in listed(name, heads, cells)), *damaged]
    table = [("log", heads), *rows]
    lines = [f"{name:24} {n:>8}  {a:10}  {b:10}  {at:10}  {file}".rstrip() for name, (n, a, b, at, file) in table]
    return lines + damaged


def phrase_lines(found: Sequence[Phrase], top: int, path: Path) -> list[str]:
    """The table of phrases: a few to be looked at first, then the rest, each under its column's heading and number."""
    every = [p for p in found if p.odd]
    odd = every[: max(LOOKED_AT, top // 3)]
    rest = [p for p in found if not p.odd][: top - len(odd)]
    lines = (
        wrap("LOOK AT THESE FIRST: read as what they seem to deny, put off or praise, or not as you wrote")
        if odd
        else []
    )
    lines += _phrases(odd)
    if len(every) > len(odd):
        said = f"and {len(every) - len(odd):,} more of these, rarer ones, marked ! in the first column of {path}"
        lines += wrap(f"{said}; --top {3 * len(every)} shows them all.", "  ", "  ")
    lines += ["", "THE REST, commonest first"] if odd and rest else []
    lines += _phrases(rest)
    more = len(found) - len(every) - len(rest)
    lines += [f"  and {more:,} more; --top {len(found) + 2 * len(every)} shows them all."] if more else []
    change = (
        f"To change one, write what it means in the last column of {path}: a repair, name=outcome, or - for nothing; "
        "of a column that names the machine: dryer or other."
    )
    return [*lines, "", *wrap(f"{change} Then import the log again with --phrases and that file.")]


def _phrases(found: Sequence[Phrase]) -> list[str]:
    return [
        line
        for p in found
        for line in wrap(
            f"{p.column}: '{p.phrase}' -> {SAYS.get(p.became, p.became)}"
            + (f"; you wrote: {p.means}" if p.means else ""),
            f"{p.times:>6,}  ",
        )
    ]


# --- what is in a log ----------------------------------------------------------------------------------------------


def describe_lines(log: str, found: Description, knowledge: Knowledge) -> list[str]:
    """A log in figures."""
    lines = [*_overview(log, found), *_people_lines(found)]
    lines += ["", "Findings (visits on which each is known, and what it showed):"]
    observables = knowledge.observables
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
    if found.branches:
        lines += wrap("Branches: " + _parts(found.branches))
    lines.append("Ended: " + _parts(found.ended))
    if found.back_after:
        days = sorted(found.back_after)
        lines.append(
            f"Callbacks with a second visit: {len(days):,}, half of them within {days[len(days) // 2]:.0f} days."
        )
    return lines


def _people_lines(found: Description) -> list[str]:
    """Each technician's callbacks and first repairs that failed, and who differs from the others."""
    if not found.people:
        return []
    from faultodds.joblog import differences

    lines = ["", *wrap("Technicians (in brackets where the share truly lies, 90 % sure):")]
    for name, r in sorted(found.people.items()):
        told = f"{r.visits:,} visits; came back: {r.came_back}; first repair failed: {r.first_failed}"
        lines += labelled(f"  {name:8} ", told, 11)
    apart = differences(found.people)
    if not apart and len(found.people) > 1:
        apart = ["Nobody differs from the others by more than chance."]
    return [*lines, *(line for each in apart for line in wrap(each, "  ", "    "))]


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
