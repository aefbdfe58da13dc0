"""Findings that do not fit what was found before: rarely said of true histories, always of findings that cannot be."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import pytest

from faultodds.belief import Appliance, open_appliance
from faultodds.job import Finding, Job, Payload, RepairDone, Step, evidence_of, misfits
from faultodds.job.fitting import Misfit, misfit
from faultodds.job.standing import believe
from faultodds.job.steps import Fact
from random_evidence import random_evidence

OPENED = datetime(2025, 3, 4, 8, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    return open_appliance("gas_dryer", revision="file")


def job_of(appliance: Appliance, payloads: list[Payload]) -> Job:
    """A job in no store."""
    job = Job("5", appliance.knowledge.appliance.id, "file", OPENED)
    for number, payload in enumerate(payloads, 1):
        job = job.plus(Step(number, OPENED, payload))
    return job


def said(appliance: Appliance, *found: str) -> list[Misfit]:
    """What does not fit of "name=outcome"s entered in this order."""
    return misfits(appliance, job_of(appliance, [Finding(*text.split("=")) for text in found]))


def histories(appliance: Appliance, count: int, seed: int) -> Iterator[list[Payload]]:
    """Calls as the tables have them: facts, findings of one machine in any order, now and then a repair and findings after it."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        evidence = random_evidence(appliance, rng)
        steps: list[Payload] = [Fact(n, v) for n, v in evidence.facts.items()]
        for stage in range(len(evidence.repairs) + 1):
            steps += [RepairDone(evidence.repairs[stage - 1].name)] if stage else []
            steps += [Finding(s.name, next(iter(s.weights))) for s in evidence.seen if s.stage == stage]
        yield steps


def test_findings_of_a_true_machine_are_hardly_ever_doubted(dryer: Appliance) -> None:
    """On thousands of findings of random machines, under 1 in 200 is asked about; and some are, so that the test can fail."""
    total = doubted = 0
    for steps in histories(dryer, 500, seed=11):
        job = job_of(dryer, [s for s in steps if allowed(dryer, steps, s)])
        total += len(job.findings)
        doubted += len(misfits(dryer, job))
    assert total > 2500
    assert doubted < 0.005 * total, f"{doubted} of {total}"


def allowed(appliance: Appliance, steps: list[Payload], payload: Payload) -> bool:
    """Whether a step is of a part that the machine of these facts has, all its steps taken together."""
    k = appliance.knowledge
    facts: dict[str, str] = {s.name: s.value for s in steps if isinstance(s, Fact)}
    if not isinstance(payload, Finding | RepairDone):
        return True
    needs = (k.observables | k.repair)[payload.name].needs  # type: ignore[operator]
    return all(facts.get(fact) == value for fact, value in needs.items())


@pytest.mark.parametrize(
    "found",
    [
        ["heat=none", "fuse_continuity=open", "verification_run=dry_in_time"],
        ["heat=none", "fuse_continuity=open", "verification_run=slow"],
        ["heat=none", "fuse_continuity=open", "drum_warm=warm"],
        ["heat=none", "fuse_continuity=open", "burner_watch=cycles"],
        ["heat=none", "igniter_ohms=open", "burner_watch=cycles"],
        ["heat=none", "drum_warm=cold", "igniter_ohms=open", "drum_warm=warm"],
    ],
)
def test_what_cannot_be_is_named_with_what_it_contradicts(dryer: Appliance, found: list[str]) -> None:
    """The last finding, and no other, does not fit; without those it is said to contradict, it would."""
    (odd,) = said(dryer, *found)
    assert odd.finding == Finding(*found[-1].split("="))
    against = {p.finding.name for p in odd.against}
    assert against & {"fuse_continuity", "igniter_ohms"}
    assert not said(dryer, *(text for text in found if text.split("=")[0] not in against))


def test_planted_contradictions_are_asked_about(dryer: Appliance) -> None:
    """A machine all but known from its checks, then an outcome that its fault shows twice in a hundred times at most and others
    show often: nearly every such plant is asked about, and never one that the fault itself brings on."""
    s, k = dryer.suspects, dryer.knowledge
    caught = planted = 0
    usual = s.likelihood @ (s.share @ s.given_main)
    for mode in s.modes:
        h = next((i for i in range(len(s.member)) if s.names(i) == (mode,)), None)
        telling = telling_findings(dryer, h) if h is not None else []
        job = job_of(dryer, list(telling))
        if h is None or not known_for_sure(dryer, job, mode):
            continue
        facts = evidence_of(dryer, job).facts
        for name, rows in s.rows.items():
            fits_machine = all(facts.get(f, v) == v for f, v in k.observables[name].needs.items())
            if name in {f.name for f in telling} or not fits_machine:
                continue
            for outcome, shown, often in zip(s.observables[name], s.likelihood[rows, h], usual[rows], strict=True):
                if shown < 0.02 and often > 0.3:
                    planted += 1
                    caught += misfit(dryer, job, Finding(name, outcome)) is not None
                elif shown > 0.3:
                    assert misfit(dryer, job, Finding(name, outcome)) is None, (mode, name, outcome)
    assert planted > 30
    assert caught > 0.9 * planted, f"{caught} of {planted}"


def telling_findings(appliance: Appliance, h: int) -> list[Finding]:
    """The three checks that this suspect makes stand out most from the usual machine, each with what it then shows."""
    s = appliance.suspects
    found = []
    every = s.likelihood @ (s.share @ s.given_main)
    for name, rows in s.rows.items():
        usual = every[rows]
        best = int(np.argmax(s.likelihood[rows, h]))
        found.append((float(s.likelihood[rows, h][best] / usual[best]), name, s.observables[name][best]))
    found.sort(key=lambda item: (-item[0], item[1]))
    needs = appliance.knowledge.observables
    chosen: list[Finding] = []
    facts: dict[str, str] = {}
    for _, name, outcome in found:
        if all(facts.get(f, v) == v for f, v in needs[name].needs.items()):
            facts |= needs[name].needs
            chosen.append(Finding(name, outcome))
        if len(chosen) == 3:
            break
    return chosen


def known_for_sure(appliance: Appliance, job: Job, mode: str) -> bool:
    """Whether hardly anything but this fault can be the matter."""
    belief = believe(appliance, job)
    return float(belief.mode_odds[belief.suspects.mode_index[mode]]) > 0.97


def test_a_finding_entered_twice_or_put_right_is_held_against_the_others_only(dryer: Appliance) -> None:
    """A plain repeat takes the place of the earlier one; measured again on purpose it is held against that too."""
    assert not said(dryer, "heat=none", "fuse_continuity=open", "fuse_continuity=closed")
    first = job_of(dryer, [Finding("heat", "none"), Finding("igniter_ohms", "open")])
    odd = misfit(dryer, first, Finding("igniter_ohms", "normal", take=1))
    assert odd is not None
    assert odd.against[0].finding.name == "igniter_ohms"


def test_a_rare_fault_is_no_contradiction(dryer: Appliance) -> None:
    """Alone, no outcome of anything is asked about, however rare; nor is a first look that agrees with the complaint."""
    k = dryer.knowledge
    for name, outcome in itertools.chain.from_iterable(
        zip([n] * 9, o.outcomes, strict=False) for n, o in k.observables.items()
    ):
        assert not said(dryer, f"{name}={outcome}")
    assert not said(dryer, "heat=none", "fuse_continuity=open", "duct_look=nest")


def test_a_split_finding_is_weighed_by_its_shares(dryer: Appliance) -> None:
    """A technician who is not sure says less: half and half fits what either would fit."""
    before = job_of(dryer, [Finding("heat", "none"), Finding("fuse_continuity", "open")])
    assert misfit(dryer, before, Finding("drum_warm", "warm"))
    assert misfit(dryer, before, Finding("drum_warm", likelihood={"warm": 0.5, "cold": 0.5})) is None
