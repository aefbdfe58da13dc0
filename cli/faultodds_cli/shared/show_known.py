"""What an answer rests on, as lines: what was entered, how readings were judged, what is left out, whose numbers these are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from faultodds.names import capital
from faultodds_cli.shared.text import cautions, percent_fine, percents, wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.job import Finding, Job, Misfit, OpenJob, PlacedFinding, Standing
    from faultodds.knowledge import Knowledge
    from faultodds.readings import Judgement

# Shares left out under this are not worth a word.
LEFT_OUT_SAID = 0.001


def evidence_lines(view: Standing) -> list[str]:
    """What is known so far, in the words of the file."""
    k, job = view.appliance.knowledge, view.job
    said = [f"{name}={value}" for name, value in job.facts.items()]
    for stage, visit in _course(job):
        # What was seen after a repair or a return is said after it: the same symptom may be there twice, of two different machines.
        said += [_as_typed(p.finding) for p in job.findings if (p.stage, p.visit) == (stage, visit)]
        if visit <= len(job.returns) and job.returns[visit - 1].stage == stage:
            said.append(f"then it came back on {job.returns[visit - 1].on}")
        elif stage < job.stage:
            said.append(f"then repaired: {k.repair[job.repairs[stage]].title}")
    return wrap("; ".join(said) or "nothing yet", "Known: ")


def _course(job: Job) -> list[tuple[int, int]]:
    """Every (stage, visit) that a job went through, in order."""
    ends = [0, *(back.stage for back in job.returns), job.stage]
    return [(s, v) for v in range(1, len(ends)) for s in range(ends[v - 1], ends[v] + 1)]


def _as_typed(finding: Finding) -> str:
    return f"{finding.name}={shown_words(finding)}" + (f' ("{finding.raw}")' if finding.raw else "")


def shown_words(finding: Finding) -> str:
    """What a finding showed: an outcome, or how likely each is."""
    return finding.outcome if finding.outcome is not None else likelihood_words(finding.likelihood or {})


def finding_text(f: Finding) -> str:
    """A finding in words, with the reading that it was judged from."""
    raw = f' (read "{f.raw}")' if f.raw is not None else ""
    again = f", take {f.take + 1}" if f.take else ""
    return f"{f.name} = {shown_words(f)}{raw}{again}"


def replaced_text(old: PlacedFinding, undo: str) -> str:
    """What was found before and counts no more, as something else was entered for it."""
    at = f"{old.step.at.astimezone():%H:%M}"
    return f"It takes the place of the earlier one, of {at}: {finding_text(old.finding)}. {undo} brings that back."


def run_texts(visit: OpenJob, seq: int, back: str) -> list[str]:
    """What is to be said of the runs entered since step `seq`: that one stands beside those before it, or that no repair is on
    record. `back` is typed to take one back."""
    job, run = visit.job, visit.knowledge.costs.verify
    ran = [p for p in job.findings if (p.finding.name, p.stage, p.visit) == (run, job.stage, job.visit)]
    texts: list[str] = []
    if not ran or ran[-1].step.seq <= seq or job.is_closed:
        return texts
    if before := ran[:-1]:
        told = "; ".join(f"{p.step.at.astimezone():%H:%M} {finding_text(p.finding)}" for p in before)
        texts.append(
            f"Nothing was repaired since the run before, so this one stands beside it and both count: {told}. If one of them was "
            f"typed wrong, the last goes with: {back}"
        )
    if not job.repairs:
        texts.append(
            f"No repair is on record on this job. If something was repaired: {back}, then enter the repair, then the run again."
        )
    return texts


def misfit_text(odd: Misfit) -> str:
    """A finding that does not fit those before it, and which they are."""
    against = " and ".join(finding_text(p.finding) for p in odd.against)
    seldom = "Next to no" if odd.chance < 1e-6 else f"About 1 in {_round(1 / odd.chance):,}"
    return f"{finding_text(odd.finding)} does not fit what was found before: {against}. {seldom} such machines would show it."


def _round(number: float) -> int:
    """Two digits of a count."""
    whole = int(number)
    return round(whole, 2 - len(str(whole)))


def likelihood_words(likelihood: Mapping[str, float]) -> str:
    """A likelihood over outcomes, largest first, as shares: "good 97 % / off 3 %"."""
    total = sum(likelihood.values())
    parts = sorted(((w / total, o) for o, w in likelihood.items() if w > 0), key=lambda x: (-x[0], x[1]))
    if parts[0][0] > 0.995:
        return parts[0][1]
    whole = percents(w for w, _ in parts)
    return " / ".join(f"{o} {p}" for (w, o), p in zip(parts, whole, strict=True) if w >= 0.005)


def misfit_lines(view: Standing) -> list[str]:
    """The findings that do not fit those given before them."""
    return cautions([f"{text} Look once more." for text in misfit_texts(view)])


def misfit_texts(view: Standing) -> list[str]:
    """The same as sentences, for `--json` too."""
    from faultodds.job import misfits

    return [misfit_text(odd) for odd in misfits(view.appliance, view.job)]


def left_out_lines(view: Standing) -> list[str]:
    """What the odds leave out, and the facts about the machine that are still worth telling."""
    lines: list[str] = []
    if view.belief.omitted_mass >= LEFT_OUT_SAID:
        share = percent_fine(view.belief.omitted_mass)
        lines += wrap(f"Left out: rare combinations of faults, {share} of such calls.")
    from faultodds.advice import not_told

    facts = not_told(view.appliance, view.belief.evidence)
    asked = "; ".join(f"{name}={'|'.join(values)}" for name, values in facts.items())
    if asked:
        lines += wrap(f"Not told about this machine: {asked}. Work that depends on it is not offered until you do.")
    return lines


def basis(appliance: Appliance) -> list[list[str]]:
    """Blocks at the end of an answer: whose numbers, whose prices."""
    return [revision_lines(appliance), shop_lines(appliance)]


def numbers_called(revision: str) -> str:
    """A revision in words; "file" stands for none."""
    return "the knowledge file's own numbers" if revision == "file" else f"revision {revision}"


def outdated_lines(appliance: str, data: str | None = None, log: str | None = None) -> list[str]:
    """That the log behind the revision in use (of `log`, where one is given) was changed since; nothing when it was not."""
    from faultodds.tuning import outdated

    found = outdated(appliance, data)
    if found is None or log not in (None, found[1].name):
        return []
    return wrap(f"LOOK: revision {found[0]} is in use, and {found[2]}.")


def revision_lines(appliance: Appliance) -> list[str]:
    """Which learned numbers these odds come from, and what in the knowledge file they overrule; nothing for the file's own."""
    said = cautions([text for text in (appliance.changed, appliance.doubt) if text])
    if appliance.revision == "file":
        return said
    lines = said + wrap(
        f"Numbers: learned, revision {appliance.revision}; --revision file gives the knowledge file's own."
    )
    over = appliance.overruled
    if over:
        what = over[0] if len(over) == 1 else f"{over[0]} and {len(over) - 1} more"
        changed = (
            f"The knowledge file was changed after this revision was learned, without effect: the revision stands over {what}. "
            "Learn anew with 'faultodds tune', or go back with 'faultodds revision rollback'."
        )
        lines += cautions([changed])
    return lines


def shop_lines(appliance: Appliance) -> list[str]:
    """Whose prices and minutes these are; nothing for the knowledge file's own."""
    used = appliance.shop
    if used is None:
        return []
    whose = f"{used.name} ({used.path})" if used.name else str(used.path)
    who = f"; technician {used.technician}" if used.technician else ""
    who += "" if used.qualified else ", no energised or gas-pressure work"
    lines = wrap(f"Prices and minutes: {whose}{who}. --shop none gives the knowledge file's own.")
    return lines + (
        wrap(f"{', '.join(used.lacking)}. What needs that is not offered.", "Not carried: ", "  ")
        if used.lacking
        else []
    )


def unlisted_lines(view: Standing) -> list[str]:
    """A plain word when a cause that the file does not list leads."""
    return [line for note in view.advice.notes if "file's list" in note for line in wrap(note, "Note: ")]


def judgement_lines(knowledge: Knowledge, name: str, judgement: Judgement) -> list[str]:
    """One raw reading, what it was held against and what it says."""
    check = knowledge.check[name]
    verdict = check.outcomes.get(judgement.verdict, judgement.verdict)
    lines = wrap(f"{capital(check.title)} [{name}]: {judgement.text}")
    said = f"{judgement.verdict} ({verdict})" if verdict != judgement.verdict else verdict
    lines += wrap(said, "  Says:    ")
    lines += wrap(judgement.spec, "  Against: ")
    lines += wrap(likelihood_words(judgement.outcomes), "  Odds:    ")
    if judgement.note:
        lines += wrap(judgement.note, "  Note:    ")
    return lines


def until_the_visit(view: Standing) -> tuple[str, list[str]]:
    """Whether the machine may be used meanwhile ("yes", "better not", "no"), and what the customer is told of that."""
    from faultodds.advice import may_be
    from faultodds.safety import at_once, run_attended

    k, known = view.appliance.knowledge, may_be(view.appliance.knowledge, view.belief.evidence, view.belief)
    stops, beside = at_once(k, known), run_attended(k, known)
    if stops:
        return "no", [f"UNTIL THE VISIT: it is not used, and left shut off. {text}" for text in stops]
    if not beside:
        return "yes", []
    seen = [(k.observables[n], o) for n, o in beside[:2]]
    may = " and ".join(o.title if outcome == "yes" else o.outcomes[outcome] for o, outcome in seen)
    names = ", ".join(n for n, _ in beside[:2])
    return "better not", [f"UNTIL THE VISIT: better not used: perhaps {may} ({names})."]
