"""The shop's page: findings and readings, odds by step, times, parts, who, and which numbers it all rests on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from msgspec.structs import replace

from faultodds.advice import percent
from faultodds.belief import WeighedFinding, infer
from faultodds.cards import Chapter, chapters, leading, words
from faultodds.errors import ClashError
from faultodds.job import (
    Closed,
    Danger,
    Fact,
    Finding,
    Job,
    Note,
    OpenJob,
    RepairDone,
    Step,
    evidence_of,
    owed_on,
    story,
)
from faultodds.knowledge import Knowledge
from faultodds.reports.blocks import Block, Page, alerts, table
from faultodds.reports.customer import photos
from faultodds.reports.standing import GOVERNING, for_shop, told_sign
from faultodds.shop import Shop


def shop_page(visit: OpenJob, shop: Shop, day: date, names: bool = False) -> Page:
    """A job for the shop; technicians as the shop file calls them. `names`: with title, notes and remarks, technicians who are
    not in the shop file, serial number and photographs."""
    job, k = visit.job, visit.knowledge
    try:
        parts = chapters(visit.appliance, job)
    except ClashError as clash:
        parts = []
        trouble = [f"These findings cannot all be true of one machine: {', '.join(clash.findings)}."]
    else:
        trouble = []
    title = f": {job.title}" if names and job.title else ""
    blocks = [
        *alerts([*for_shop(visit, owed_on(visit.appliance, job)), *trouble]),
        *_explained(k, parts),
        *table("Step by step", ("When", "What", "Minutes", "Likeliest then"), _rows(visit, names)),
        *table("Machine, parts, people", ("", ""), _machine(visit, shop, names)),
        *table("Numbers", ("", ""), _numbers(visit)),
        *(photos(visit) if names else []),
    ]
    left = sum(isinstance(s.payload, Note) for s in job.steps)
    hidden = "" if names or not left else f" {left} notes, and remarks, are left out; --with-names shows them."
    head = f"Job {job.id}, {k.appliance.title}{title}"
    return Page(head, tuple(blocks), (GOVERNING, f"Page of {day:%Y-%m-%d}.{hidden}"))


def _explained(k: Knowledge, parts: list[Chapter]) -> Iterator[Block]:
    if parts:
        yield Block("text", words.job_line(k, parts))
        for text in words.job_paragraphs(k, parts):
            yield Block("text", text)


def _rows(visit: OpenJob, names: bool) -> list[tuple[str, ...]]:
    """The steps that say something, each with the likeliest fault after it and its chance."""
    job, odds = visit.job, ""
    rows: list[tuple[str, ...]] = []
    lines = {line.seq: line for line in story(job)}
    for at, step in enumerate(job.steps, 1):
        said = _said(visit.knowledge, step, names)
        if not said:
            continue
        now = odds
        if isinstance(step.payload, Fact | Finding | RepairDone | Closed):
            now = _leads(visit, replace(job, steps=job.steps[:at]))
        line = lines[step.seq]
        when = f"{step.at.astimezone():%m-%d %H:%M}" + (f", visit {line.visit}" if line.visit > 1 else "")
        rows.append(
            (
                when,
                said,
                "" if step.minutes is None else f"{step.minutes:g}",
                "as before" if now == odds and now else now,
            )
        )
        odds = now
    return rows


def _leads(visit: OpenJob, job: Job) -> str:
    try:
        belief = infer(visit.appliance.suspects, evidence_of(visit.appliance, job))
    except ClashError:
        return "findings clash"
    k, lead = visit.knowledge, leading(belief, visit.knowledge)
    chance = float(belief.mode_odds[belief.suspects.mode_index[lead]])
    if job.stage and belief.sound > chance:
        return f"nothing wrong {percent(belief.sound)}"
    return f"{k.title_of(lead)} {percent(chance)}"


def _said(k: Knowledge, step: Step, names: bool) -> str:
    """A step in words; free text and opening and shutting are left out, unless `names` are wanted."""
    match step.payload:
        case Finding(name, outcome, likelihood, raw, take):
            shown = WeighedFinding(name, likelihood or {outcome or "": 1.0}).label
            again = f", taken again ({take + 1})" if take else ""
            return words.thing_words(k, "found", shown) + (f' (read "{raw}")' if raw else "") + again
        case RepairDone(name):
            return words.thing_words(k, "repair", name)
        case Fact(name, value):
            return words.thing_words(k, "fact", f"{name}={value}")
        case Danger():
            return f"STOP: {told_sign(k, step.payload)}"
        case Closed(outcome, on, note):
            return (
                f"closed: {outcome.replace('_', ' ')}"
                + (f" on {on}" if on else "")
                + (f" ({note})" if names and note else "")
            )
        case Note(text):
            return f"note: {text}" if names else ""
        case _:
            return ""


def _machine(visit: OpenJob, shop: Shop, names: bool) -> list[tuple[str, str]]:
    job = visit.job
    shown = ("model", "part", *(("serial",) if names else ()))
    head = {"model": "Model", "part": "Part fitted", "serial": "Serial number"}
    rows = [(head[name], text) for name in shown for text in job.kept(name)]
    went = job.kept("technician")
    rows += [
        ("Technician", who if names or who in shop.technician else "not in the shop file; --with-names") for who in went
    ]
    minutes = "none entered" if job.minutes is None else f"{job.minutes:.0f}"
    return [*rows, ("Minutes", minutes), ("Visits", str(job.visit)), ("Repairs", str(job.stage))]


def _numbers(visit: OpenJob) -> list[tuple[str, str]]:
    """What the odds and prices rest on."""
    used, of = visit.appliance.shop, visit.appliance
    numbers = "the knowledge file's own, first guesses" if of.revision == "file" else f"learned, revision {of.revision}"
    prices = "the knowledge file's own" if used is None else f"{used.name or 'the shop'}'s file"
    rows = [("Shares and chances", numbers), ("Knowledge file", f"{of.knowledge.appliance.id}, {of.fingerprint}")]
    return [*rows, ("Prices and minutes", prices)]
