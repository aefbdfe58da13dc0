"""Why, in words and numbers: what a check would tell, what must not be forgotten, why a fact is asked, how
the job went."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from msgspec import Struct
from msgspec.structs import asdict, replace

from faultodds.advice import AS_GOOD_AS_FOUND, next_answer, words
from faultodds.belief import FaultOdds
from faultodds.errors import ClashError
from faultodds.job.gates import owed_on
from faultodds.job.job import Job
from faultodds.job.open_job import OpenJob
from faultodds.job.steps import Closed, Fact, Finding, MachineState, Payload, RepairDone, kind_of, summary
from faultodds.knowledge import Knowledge


class Tells(Struct, frozen=True):
    """What one outcome of a check would tell: its chance now, and the leading faults after it."""

    outcome: str
    chance: float
    leading: tuple[FaultOdds, ...]


def tells(visit: OpenJob, check: str, count: int = 2) -> list[Tells]:
    """For every outcome of a symptom or check: its chance, and the `count` faults that would lead after
    it."""
    belief, s = visit.now.belief, visit.appliance.suspects
    out = []
    for row, (outcome, chance) in zip(s.likelihood[s.rows[check]], belief.outcome_odds(check).items(), strict=True):
        joint = belief.now * row
        total = float(joint.sum())
        after = replace(belief, now=joint / total) if total > 0 else belief
        out.append(Tells(outcome, chance, tuple(after.fault_odds()[:count])))
    return out


def reminders(visit: OpenJob) -> list[str]:
    """What must not be forgotten: what the file says of faults as good as found, the run after a repair where it may run.

    A fault counts as found when its chance in the machine *as it came in* has reached a half, so that "find
    out why it blew" is still said after the fuse was changed. Of another fault nothing is said once it was put right.
    """
    s = visit.appliance.suspects
    odds = visit.now.belief.original @ s.member_float
    mended = {m for r in visit.now.belief.evidence.repairs for m in r.modes}
    advice = {n: m.advice for n, m in visit.knowledge.modes() if m.advice and (m.cause_shown_by or n not in mended)}
    texts = [advice[m] for m, p in zip(s.modes, odds, strict=True) if m in advice and p >= AS_GOOD_AS_FOUND]
    facts = visit.knowledge.context
    texts += [facts[f].advice[v] for f, v in visit.job.facts.items() if f in facts and v in facts[f].advice]
    run_next = visit.now.advice.name == visit.knowledge.costs.verify  # which says so itself
    if visit.unverified and not visit.now.advice.at_once and not run_next:
        texts.append("A repair is not done until the machine has run: verify it before you leave.")
    return list(dict.fromkeys(texts))


def why_asked(knowledge: Knowledge, fact: str) -> str:
    """Why an intake question is worth answering, in one sentence: the parts it speaks for or against most, or the
    work that is offered only to machines that have the part."""
    if fact in knowledge.equipment:
        return _why_equipment(knowledge, fact)
    strongest: dict[str, float] = {}
    for target, factors in knowledge.context[fact].more_often.items():
        component = target.partition(".")[0]
        furthest = max(f if f >= 1 else 1 / max(f, 1e-9) for f in factors.values())
        strongest[component] = max(furthest, strongest.get(component, 1.0))
    top = sorted(strongest, key=lambda c: -strongest[c])[:3]
    if not top:
        return "It is kept with the job."
    return f"It speaks most for or against {_listed([words.the_part(knowledge, c) for c in top])}."


def _why_equipment(knowledge: Knowledge, fact: str) -> str:
    lacking = {c for lacks in knowledge.equipment[fact].lacks.values() for c in lacks}
    parts = [words.the_part(knowledge, c) for c in knowledge.component if c in lacking]
    if parts:
        return f"Not every machine has {_listed(parts)}: work on that is offered once this is known."
    works = (*knowledge.check.values(), *knowledge.repair.values())
    work = [w.title for w in works if fact in w.needs]
    if work:
        return f"It decides whether this is offered: {'; '.join(work)}."
    items = {i for w in works for items in w.access_by.get(fact, {}).values() for i in items}
    ways = [item.title for name, item in knowledge.access.items() if name in items]
    if ways:
        return f"It decides how some parts are got at ({_listed(ways)}); until it is told, the longer way is counted."
    return "It says which machine this is."


def _listed(names: list[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


class StoryLine(Struct, frozen=True):
    """One step of a job as it is told: when, under which visit and stage, what kind, in words."""

    seq: int
    at: datetime
    visit: int
    stage: int
    kind: str
    text: str
    minutes: float | None
    payload: Payload


def story(job: Job) -> list[StoryLine]:
    """The steps that stand, in order, each with its visit and its stage (the repairs done before it). What a repair leaves closed
    up is told after it, though it is kept before it."""
    lines: list[StoryLine] = []
    visit, stage = 1, 0
    for step in job.steps:
        p = step.payload
        closed = lines[-1].payload if lines and isinstance(p, RepairDone) else None
        at = len(lines) - (isinstance(closed, MachineState) and not any(closed.changes.values()))
        lines.insert(at, StoryLine(step.seq, step.at, visit, stage, kind_of(p), summary(p), step.minutes, p))
        stage += isinstance(p, RepairDone)
        visit += isinstance(p, Closed) and p.outcome == "came_back"
    return lines


def job_answer(visit: OpenJob, advice: bool = True) -> dict[str, Any]:
    """A job as plain data: its story, where it stands and, if asked, the odds and advice now (or the
    clash)."""
    job = visit.job
    answer: dict[str, Any] = {
        **job_line(job),
        "facts": job.facts,
        "steps": [_step(line) for line in story(job)],
        "undone": [{"seq": s.seq, "kind": kind_of(s.payload), "text": summary(s.payload)} for s in job.undone],
        "repairs": list(job.repairs),
        "open": sorted(visit.state),
        "skipped": job.skipped,
        "notes": list(job.notes),
        "came_back": [{"on": back.on.isoformat(), "days": back.days, "stage": back.stage} for back in job.returns],
        "accepted_since": visit.accepted_since or None,
        "owed": owed_on(visit.appliance, job),
        "out_of_service": visit.out_of_service(),
    }
    if advice:
        answer |= now_answer(visit)
    return answer


def now_answer(visit: OpenJob) -> dict[str, Any]:
    """Odds and advice now, as `next --json` has them, with what must not be forgotten; or the findings that
    clash."""
    try:
        now = visit.now
    except ClashError as clash:
        return {"clash": {"findings": list(clash.findings), "message": str(clash)}}
    return {
        **next_answer(visit.appliance, now.belief, now.advice, visit.state),
        "reminders": reminders(visit),
        "why_back": asdict(now.why_back) if now.why_back else None,
    }


def job_line(job: Job) -> dict[str, Any]:
    """One job in a list."""
    return {
        "job": job.id,
        "appliance": job.appliance,
        "revision": job.revision,
        "title": job.title,
        "opened_at": job.opened_at.isoformat(),
        "outcome": job.outcome,
        "closed": job.is_closed,
        "stopped": job.stopped.text if job.stopped else None,
        "visit": job.visit,
        "stage": job.stage,
        "minutes": job.minutes,
    }


def _step(line: StoryLine) -> dict[str, Any]:
    p = line.payload
    step: dict[str, Any] = {
        "seq": line.seq,
        "at": line.at.isoformat(),
        "visit": line.visit,
        "stage": line.stage,
        "kind": line.kind,
        "text": line.text,
        "minutes": line.minutes,
    }
    if isinstance(p, Finding):
        outcomes = {p.outcome: 1.0} if p.outcome is not None else dict(p.likelihood or {})
        step |= {"name": p.name, "outcomes": outcomes, "raw": p.raw, "take": p.take}
    elif isinstance(p, RepairDone | Fact):
        step["name"] = p.name
    return step
