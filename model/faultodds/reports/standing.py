"""What a page says first: that a machine is out of service, that danger was told of, that something is owed or not finished."""

from __future__ import annotations

from faultodds.cards import words
from faultodds.job import Danger, OpenJob, cause_owed
from faultodds.knowledge import Knowledge

GOVERNING = (
    "The maker's instructions for this machine and the local code come before anything on this page. Work on gas or on live parts "
    "is only for people who are licensed or qualified for it where the law asks. This page is no inspection and no certificate."
)


def for_customer(visit: OpenJob) -> list[str]:
    """What the customer must not miss, in plain words."""
    job, k, stopped = visit.job, visit.knowledge, visit.out_of_service()
    texts = []
    if job.stopped is not None:
        texts.append(f"DANGER was told of on this job: {told_sign(k, job.stopped)} Do not use the machine.")
    if stopped:
        texts.append(
            "OUT OF SERVICE. Do not use this machine, and leave it shut off as it was left, until this has been put right: "
            f"{'; '.join(in_words(k, each) for each in stopped)}."
        )
    again = [each for each in visit.not_looked_at_again() if each not in stopped]
    if again:
        texts.append(
            "NOT LOOKED AT SINCE. Do not use this machine before it has been looked at again, and is right: "
            f"{'; '.join(in_words(k, each) for each in again)}."
        )
    stands = [k.access[i].title for i in k.access if job.machine_state.get(i)]
    if stands and not stopped:
        texts.append(f"IT STANDS OPEN OR SHUT OFF ({', '.join(stands)}). Do not start it.")
    if any(isinstance(s.payload, Danger) for s in job.steps) and job.stopped is None:
        texts.append(
            "Danger was told of on this job and made safe again. At the first sign of it, do as below and call."
        )
    owed = [m for m in cause_owed(visit.appliance, job) if not any(each.startswith(m) for each in stopped)]
    texts += [
        f"STILL TO BE DONE: {k.title_of(mode)}. What brought that on has not been found yet, and it can happen again. "
        "Do not use the machine until it has."
        for mode in owed
    ]
    if job.outcome == "referred":
        texts.append(
            "NOT FINISHED HERE: this job was handed over. Ask us who goes on with it before you use the machine."
        )
    elif job.outcome == "came_back":
        texts.append("NOT FINISHED: the complaint came back, and the job is open again.")
    elif not job.is_closed:
        texts.append("NOT FINISHED: this job is still open.")
    return texts


def for_shop(visit: OpenJob, owed: list[str]) -> list[str]:
    """What the shop must not miss."""
    job, k = visit.job, visit.knowledge
    texts = [f"STOPPED: {told_sign(k, job.stopped)}"] if job.stopped is not None else []
    texts += [f"OUT OF SERVICE: {in_words(k, each)}." for each in visit.out_of_service()]
    texts += owed
    if job.outcome == "referred":
        texts.append("Handed over.")
    elif job.outcome == "came_back":
        texts.append(f"Came back on {job.closings[-1].on}; open again.")
    elif not job.is_closed:
        texts.append("Still open.")
    if visit.unverified:
        texts.append("The machine was not run after the last repair.")
    return texts


def told_sign(k: Knowledge, danger: Danger) -> str:
    """The sign that danger was told of by, with its steps, without the words that were typed."""
    said = danger.text.partition("\n")[0].removeprefix("STOP. ").partition(': "')[0].rstrip(".")
    sign = next((s for s in k.stop.values() if said == s.title), None)
    if sign is None:
        title, _, steps = danger.text.removeprefix("STOP. ").partition("\n")
        called, told = (
            title.partition(': "')[0].rstrip("."),
            [step for step in steps.splitlines() if step[:1].isdigit()],
        )
        return f"{called}. {' '.join(step.partition('. ')[2] for step in told)}"
    return f"{sign.title}. {' '.join(sign.steps)}"


def in_words(k: Knowledge, said: str) -> str:
    """ "burner_watch=burns_on" in words; what is no finding as it is."""
    name, sign, _ = said.partition("=")
    if sign and name in k.observables:
        return words.thing_words(k, "found", said)
    mode = said.partition(" and ")[0]
    return f"{k.title_of(mode)}, and what brought that on has not been found" if mode in dict(k.modes()) else said
