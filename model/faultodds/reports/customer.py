"""The customer's page: what was found, what was done, how it was checked, what keeps it safe, and when to call."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from datetime import date
from functools import cache
from typing import Any

from faultodds.advice import money
from faultodds.cards import Account, Chapter, chain, chapters
from faultodds.errors import ClashError
from faultodds.files import words_file
from faultodds.job import Finding, OpenJob, photo_path
from faultodds.knowledge import Knowledge, repair_modes
from faultodds.names import capital
from faultodds.reports.blocks import Block, Page, alerts, listed
from faultodds.reports.standing import GOVERNING, for_customer
from faultodds.safety import DOUBTFUL
from faultodds.shop import Shop

# From here on a fault was as good as found, and from here on the likely one.
SURE, LIKELY = 0.9, 0.5
SWITCH_OFF = (
    "Switch it off, pull the plug and leave it so until somebody has looked, when (smell of gas: no switch, as above)"
)
NO_INVOICE = "By our own price list. This is no invoice: other work, travel and tax are not in it."


def customer_page(visit: OpenJob, shop: Shop, day: date, names: bool = False) -> Page:
    """A job for the customer. `shop`: whose prices may be named; `names`: with its serial number and photographs."""
    job, k = visit.job, visit.knowledge
    parts = _chapters(visit)
    told = [capital(f"{k.symptom[f.name].title}: {_shown(k, f.name, f.outcome)}") for f in _complaints(visit)]
    ours = _advice(k.appliance.id)
    blocks = [
        *alerts(for_customer(visit)),
        Block("text", _heading(visit, shop, day, names)),
        *listed("What you told us", told),
        *_found(visit, parts),
        *listed("Seen on the way that can hurt somebody", _hazards(visit)),
        *listed(
            "What was done",
            [_done(k, name) for name in job.repairs] or ["No part was changed and nothing was repaired."],
        ),
        Block("head", "How it was checked afterwards"),
        Block("text", _checked(visit)),
        *listed("In danger, at once", [f"{capital(s.title)}: {' '.join(s.steps)}" for s in k.stop.values()]),
        *listed(SWITCH_OFF, ours.get("switch_off_when", [])),
        *listed("Call us when", ours.get("call_when", [])),
        *listed("What keeps it safe", ours.get("keep_safe", [])),
        *_price(visit, shop),
        *(photos(visit) if names else []),
    ]
    return Page(f"Your {k.appliance.title}: what was found and done", tuple(blocks), (GOVERNING,))


@cache
def _advice(appliance: str) -> dict[str, Any]:
    """What a customer of this kind of machine is told besides; nothing where nobody has written it down."""
    path = words_file(f"{appliance}_customer")
    return {} if path is None else tomllib.loads(path.read_text("utf-8"))


def _chapters(visit: OpenJob) -> list[Chapter]:
    try:
        return chapters(visit.appliance, visit.job)
    except ClashError:
        return []


def _heading(visit: OpenJob, shop: Shop, day: date, names: bool) -> str:
    job = visit.job
    said = [
        shop.shop.name,
        f"job {job.id}",
        f"begun on {job.opened_at.astimezone():%Y-%m-%d}",
        f"page of {day:%Y-%m-%d}",
    ]
    said += [f"model {text}" for text in job.kept("model")]
    said += [f"serial number {text}" for text in job.kept("serial")] if names else []
    return capital(", ".join(text for text in said if text)) + "."


def _complaints(visit: OpenJob) -> list[Any]:
    """The symptoms that were told before any repair and are out of the ordinary."""
    k = visit.knowledge
    told = [p.finding for p in visit.job.findings if p.finding.name in k.symptom and p.stage == 0]
    return [f for f in told if f.outcome is not None and f.outcome != next(iter(k.symptom[f.name].outcomes))]


def _shown(k: Knowledge, name: str, outcome: str | None) -> str:
    return k.observables[name].outcomes[str(outcome)]


def _found(visit: OpenJob, parts: list[Chapter]) -> Iterator[Block]:
    """Each fault that something was done about, how sure that is, and what it does; without repairs, the likeliest now."""
    if not parts:
        return
    accounts = [told for part in parts[:-1] for told in part.accounts] or list(parts[-1].accounts)
    yield Block("head", "What was found" if visit.job.repairs else "What it most likely is")
    yield Block("list", items=tuple(_fault(visit, told) for told in {a.mode: a for a in accounts}.values()))


def _hazards(visit: OpenJob) -> list[str]:
    """What was found with which the machine is not run, or not with nobody beside it, and what it showed when looked at again."""
    k, seen = visit.knowledge, [p.finding for p in visit.job.findings]
    told = {}
    for f in seen:
        shown = _likeliest(f)
        bars = k.observables[f.name].bars
        if shown in bars or any(share >= DOUBTFUL for o, share in (f.likelihood or {}).items() if o in bars):
            told[f.name] = f"{capital(k.observables[f.name].title)}: {_shown(k, f.name, shown)}."
        elif f.name in told:
            told[f.name] += f" Looked at again: {_shown(k, f.name, shown)}."
    return list(told.values())


def _likeliest(finding: Finding) -> str:
    """What a finding shows; of a doubtful one, what is likeliest."""
    return finding.outcome or max(finding.likelihood or {}, key=(finding.likelihood or {}).__getitem__)


def _fault(visit: OpenJob, told: Account) -> str:
    k = visit.knowledge
    links = chain(k, visit.appliance.suspects, told.mode)
    does = "; ".join(f"{link.title}: {link.state}" for link in links[-2:])
    sure = "We are as good as sure of it." if told.chance >= SURE else "That is the likeliest cause."
    if told.chance < SURE and _proved(visit, told.mode):
        sure = "It was put right, and the run after the work was good."
    elif told.chance < LIKELY:
        sure = "That was possible, and worth putting right; it is not certain."
    return f"{capital(k.title_of(told.mode))}. {sure}" + (f" What it does: {does}." if does else "")


def _proved(visit: OpenJob, mode: str) -> bool:
    """Whether a fault was worked on and the last run since the last repair, on this visit, was good."""
    job, k = visit.job, visit.knowledge
    mended = any(mode in repair_modes(k, k.repair[n]) for n in job.repairs)
    last = [p for p in job.findings if (p.finding.name, p.stage, p.visit) == (k.costs.verify, job.stage, job.visit)][
        -1:
    ]
    return mended and any(p.finding.outcome == next(iter(k.check[k.costs.verify].outcomes)) for p in last)


def _done(k: Knowledge, name: str) -> str:
    repair = k.repair[name]
    return f"{repair.title}{' (done by others)' if repair.by_others else ''}."


def _checked(visit: OpenJob) -> str:
    """How the last run after the last repair ended, and whether the complaint came back since; plainly, that there was none."""
    job, k = visit.job, visit.knowledge
    run = k.costs.verify
    ran = [p for p in job.findings if (p.finding.name, p.stage) == (run, job.stage)]
    runs = [p.finding for p in ran]
    if not runs and (visit.out_of_service() or job.stopped is not None or job.outcome == "referred"):
        return "The machine was not run after the work. Do not run it as things stand."
    if not runs and not job.repairs:
        return "Nothing was done that had to be checked by a run, and no run was made."
    if not runs:
        return "The machine was NOT run after the work. Watch the first load, and call us when anything is not as it should be."
    last = runs[-1]
    shown = _shown(k, run, _likeliest(last))
    since = " That was on an earlier visit; it came back since." if ran[-1].visit != job.visit else ""
    return f"{k.check[run].title}: {shown}" + (f" (measured: {last.raw})." if last.raw else ".") + since


def _price(visit: OpenJob, shop: Shop) -> Iterator[Block]:
    """What the shop's own list says of the parts fitted and the minutes entered; nothing is priced from anywhere else."""
    job, k = visit.job, visit.knowledge
    rows = [f"{k.repair[n].title}: {money(shop.parts[n], k.costs.currency)}" for n in job.repairs if n in shop.parts]
    rate, minutes = shop.costs.labour_rate, job.minutes
    if rate is not None and minutes:
        rows.append(
            f"Labour, {minutes:.0f} minutes at {money(rate, k.costs.currency)} an hour: "
            f"{money(rate * minutes / 60, k.costs.currency)}"
        )
    if rows:
        missing = [k.repair[n].title for n in job.repairs if n not in shop.parts]
        yield from listed("Price", rows)
        yield Block("text", NO_INVOICE + (f" Not on the list: {'; '.join(missing)}." if missing else ""))


def photos(visit: OpenJob) -> list[Block]:
    """The photographs that are kept with a job and still there."""
    files = [photo_path(visit.store.path, name) for name in visit.job.kept("photo")]
    return [
        Block("photo", f"Photograph {i}, kept with job {visit.job.id}", file=f)
        for i, f in enumerate(files, 1)
        if f.is_file()
    ]
