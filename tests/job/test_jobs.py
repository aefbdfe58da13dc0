"""A job's views: what stands after repeats, replacements, repairs, callbacks and undo."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings, strategies as st

from faultodds.belief import Appliance, open_appliance
from faultodds.errors import FaultoddsError, StoreError, UnknownName
from faultodds.job.job import Job
from faultodds.job.open_job import OpenJob
from faultodds.job.steps import (
    Closed,
    Fact,
    Finding,
    MachineState,
    Note,
    Payload,
    RepairDone,
    Skip,
    Step,
    from_json,
    kind_of,
    summary,
    to_json,
)
from faultodds.job.store import Store
from faultodds.job.taking import situation_of

OPENED = datetime(2025, 3, 4, 8, 30, tzinfo=UTC)


def job_of(*payloads: Payload, minutes: float | None = None) -> Job:
    """Job 5 with these steps, one a minute."""
    job = Job("5", "gas_dryer", "", OPENED, "dries slowly")
    for number, payload in enumerate(payloads, start=1):
        job = job.plus(Step(number, OPENED + timedelta(minutes=number), payload, minutes))
    return job


def counted(job: Job) -> list[tuple[str, str | None, int, int]]:
    return [(p.finding.name, p.finding.outcome, p.stage, p.visit) for p in job.findings]


def test_same_finding_twice_counts_once() -> None:
    """The same outcome entered again in the same stage is one piece of evidence; its steps are both kept."""
    job = job_of(Finding("coil_ohms", "good", raw="1.15k"), Finding("coil_ohms", "good"))
    assert counted(job) == [("coil_ohms", "good", 0, 1)]
    assert job.findings[0].finding.raw == "1.15k"
    assert len(job.steps) == 2


def test_different_outcome_replaces_the_earlier_one() -> None:
    """A new outcome in the same stage stands in for the old one, and undoing it brings the old one back."""
    job = job_of(Finding("coil_ohms", "good"), Finding("hood_flap", "weak"), Finding("coil_ohms", "off"))
    assert counted(job) == [("hood_flap", "weak", 0, 1), ("coil_ohms", "off", 0, 1)]
    before, step = job.minus_last()
    assert step.payload == Finding("coil_ohms", "off")
    assert counted(before) == [("coil_ohms", "good", 0, 1), ("hood_flap", "weak", 0, 1)]


def test_deliberate_remeasurement_counts_as_well() -> None:
    """With the next take given, a second reading is further evidence, even when it says the same."""
    job = job_of(Finding("coil_ohms", "good"))
    assert job.next_take("coil_ohms") == 1
    assert job.next_take("igniter_ohms") == 0
    again = job.plus(Step(2, OPENED, Finding("coil_ohms", "good", take=job.next_take("coil_ohms"))))
    assert counted(again) == [("coil_ohms", "good", 0, 1)] * 2
    assert again.next_take("coil_ohms") == 2


def test_after_a_repair_a_finding_is_new_evidence() -> None:
    """What was seen before a repair stays as it was; the same check after it belongs to the next stage."""
    job = job_of(Finding("duct_off_run", "much_better"), RepairDone("clean_duct"), Finding("duct_off_run", "no_change"))
    assert counted(job) == [("duct_off_run", "much_better", 0, 1), ("duct_off_run", "no_change", 1, 1)]
    assert job.repairs == ("clean_duct",)
    assert (job.stage, job.next_take("duct_off_run")) == (1, 1)


def test_facts_keep_the_last_value() -> None:
    """A fact given twice has the later value."""
    assert job_of(Fact("age", "to_3"), Fact("age", "to_8")).facts == {"age": "to_8"}


def test_skipped_until_done() -> None:
    """A check that could not be done leaves the skipped list once it is done after all."""
    job = job_of(Skip("coil_ohms", "no meter"), Skip("seal_test"), Finding("coil_ohms", "good"))
    assert job.skipped == {"seal_test": ""}


def test_what_the_customer_could_not_tell_is_looked_for_after_a_repair() -> None:
    """Only a check that cannot be done stays so; a question skipped once more after the repair does too."""
    dryer, repair = open_appliance("gas_dryer", revision="file"), RepairDone("clean_duct")
    before = (Skip("cabinet_hot"), Skip("seal_test"), Skip("co_room"))
    assert situation_of(dryer, job_of(*before)).skipped == {"cabinet_hot", "seal_test", "co_room"}
    assert situation_of(dryer, job_of(*before, repair)).skipped == {"seal_test", "co_room"}
    again = job_of(*before, repair, Skip("cabinet_hot"))
    assert situation_of(dryer, again).skipped == {"cabinet_hot", "seal_test", "co_room"}


def test_closing_forgets_the_machine_state() -> None:
    """A closing clears the machine's state, which must not be believed on a later visit; undo restores it."""
    working = job_of(MachineState({"unplugged": True, "front_open": True}), MachineState({"front_open": False}))
    assert working.machine_state == {"unplugged": True, "front_open": False}
    closed = working.plus(Step(3, OPENED, Closed("gone")))
    assert closed.machine_state == {}
    assert closed.minus_last()[0].machine_state == working.machine_state


def test_closed_job_takes_no_work() -> None:
    """A closed job refuses a finding, names what to do instead, and still takes a note."""
    job = job_of(Finding("heat", "none"), Closed("gone"))
    assert job.is_closed
    with pytest.raises(StoreError) as caught:
        job.plus(Step(3, OPENED, Finding("heat", "normal")))
    assert str(caught.value) == (
        "job 5 is closed (gone), so 'heat = normal' was not added. If the complaint came back, type "
        "`faultodds job close 5 came_back --on YYYY-MM-DD`. If it was closed by mistake, "
        "type `faultodds job undo 5`."
    )
    assert job.plus(Step(3, OPENED, Note("paid"))).notes == ("paid",)


def test_callback_opens_the_job_again() -> None:
    """A complaint that came back starts visit 2: old findings stay, new ones stand beside them."""
    job = job_of(
        Finding("verification_run", "dry_in_time"),
        Closed("gone"),
        Closed("came_back", date(2025, 3, 20), "same again"),
        Finding("verification_run", "slow"),
    )
    assert (job.outcome, job.is_closed, job.visit) == ("came_back", False, 2)
    assert counted(job) == [("verification_run", "dry_in_time", 0, 1), ("verification_run", "slow", 0, 2)]
    done = job.plus(Step(5, OPENED, Closed("referred")))
    assert (done.outcome, done.is_closed, done.visit) == ("referred", True, 2)


def test_callback_before_the_job_is_refused() -> None:
    """A date before the job was opened is a slip, and the message says so."""
    with pytest.raises(StoreError) as caught:
        job_of(Closed("came_back", date(2024, 3, 20)))
    assert str(caught.value) == (
        "job 5 was opened on 2025-03-04, so it cannot have come back on 2024-03-20. "
        "Check the date (YYYY-MM-DD) and enter it again."
    )


def test_nothing_to_undo() -> None:
    """Undo on a job without steps says so."""
    with pytest.raises(StoreError, match=r"job 5 has nothing to undo\. Type `faultodds job show 5`\."):
        job_of().minus_last()


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (
            lambda: Finding("heat"),
            "heat: a finding is one outcome, or a likelihood for each outcome; here is neither. "
            "Type heat=OUTCOME, or give a raw reading.",
        ),
        (
            lambda: Finding("heat", "none", {"none": 1.0}),
            "heat: a finding is one outcome, or a likelihood for each outcome; here is both. "
            "Type heat=OUTCOME, or give a raw reading.",
        ),
        (
            lambda: Finding("heat", likelihood={"none": 0.0, "normal": 0.0}),
            "heat: likelihoods must be 0 or more with at least one above 0; found none 0, normal 0. "
            "Give each outcome a weight, for example 70 and 30.",
        ),
        (
            lambda: Finding("heat", likelihood={"none": float("nan"), "normal": 1.0}),
            "heat: likelihoods must be 0 or more with at least one above 0; found none nan, normal 1. "
            "Give each outcome a weight, for example 70 and 30.",
        ),
        (
            lambda: Finding("heat", likelihood={}),
            "heat: likelihoods must be 0 or more with at least one above 0; found nothing. "
            "Give each outcome a weight, for example 70 and 30.",
        ),
        (
            lambda: Finding("heat", "none", take=-1),
            "heat: take -1 is below 0. Leave it out, or count from 1.",
        ),
        (lambda: Finding(" ", "none"), "the finding is blank. Give its name, for example lint_screen_look."),
        (
            lambda: Finding("heat", ""),
            "the outcome of heat is blank. Give its name, for example lint_screen_look.",
        ),
        (
            lambda: Closed("came_back"),
            "came_back needs the day the complaint came back. Give it as YYYY-MM-DD: --on YYYY-MM-DD with faultodds job close, "
            "or close came back YYYY-MM-DD in a guided call.",
        ),
        (lambda: Step(1, OPENED, Note(""), -3), "-3 minutes is not a time. Give 0 or more, such as 2.5."),
        (
            lambda: Step(1, OPENED, Note(""), float("nan")),
            "nan minutes is not a time. Give 0 or more, such as 2.5.",
        ),
    ],
)
def test_malformed_entries_are_refused(make: object, text: str) -> None:
    """Each malformed entry is refused with a message that says what to give instead."""
    assert callable(make)
    with pytest.raises(FaultoddsError) as caught:
        make()
    assert str(caught.value) == text


def test_unknown_job_outcome_has_a_suggestion() -> None:
    """A misspelt outcome names the nearest and the three there are."""
    with pytest.raises(UnknownName) as caught:
        Closed("came back on")
    assert str(caught.value) == (
        "there is no outcome of a job called 'came back on'. Did you mean 'came_back'? "
        "Known: gone, came_back, referred."
    )


def test_summaries() -> None:
    """Every kind of step has a line a technician can read."""
    lines = [
        summary(payload)
        for payload in (
            Finding("coil_ohms", "good", raw="1.15k", take=1),
            Finding("noise", likelihood={"thump": 70, "none": 30}),
            RepairDone("coil_set"),
            Fact("age", "to_8"),
            Skip("seal_test", "drum hot"),
            MachineState({"unplugged": True, "front_open": False}),
            Note("dog"),
            Closed("came_back", date(2025, 4, 1)),
        )
    ]
    assert lines == [
        "coil_ohms = good (1.15k), take 2",
        "noise = thump 70 / none 30",
        "repair coil_set",
        "age = to_8",
        "skip seal_test (drum hot)",
        "unplugged: yes, front_open: no",
        "note: dog",
        "closed: came back on 2025-04-01",
    ]


def test_a_job_needs_nothing_heavy() -> None:
    """The everyday path can import jobs without paying for SQLAlchemy, pandas or pydantic."""
    code = (
        "import sys, faultodds.job; "
        "print(sorted({'sqlalchemy', 'pandas', 'pydantic', 'platformdirs'} & set(sys.modules)))"
    )
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout == "[]\n"


NAMES = st.sampled_from(["heat", "coil_ohms", "hood_flap", "seal_test"])
OUTCOME_WORDS = st.sampled_from(["good", "off", "none"])
WORK: st.SearchStrategy[Payload] = st.one_of(
    st.builds(Finding, NAMES, OUTCOME_WORDS, raw=st.sampled_from([None, "1.15k", "OL"]), take=st.integers(0, 2)),
    st.builds(RepairDone, st.sampled_from(["coil_set", "clean_duct"])),
    st.builds(Fact, st.sampled_from(["age", "fuel"]), OUTCOME_WORDS),
    st.builds(Skip, NAMES, st.text(max_size=5)),
    st.builds(MachineState, st.dictionaries(st.sampled_from(["unplugged", "front_open"]), st.booleans())),
    st.builds(Note, st.text(max_size=5)),
    st.just(Closed("came_back", date(2025, 5, 1))),
)


def views(job: Job) -> tuple[object, ...]:
    return (
        job.steps,
        job.facts,
        job.findings,
        job.repairs,
        job.skipped,
        job.machine_state,
        job.notes,
        job.outcome,
        job.visit,
    )


@settings(max_examples=60, deadline=None)
@given(st.lists(WORK, max_size=12), WORK)
def test_undo_restores_every_view(before: list[Payload], last: Payload) -> None:
    """Adding any step and undoing it leaves every view exactly as it was; the step itself is kept."""
    job = job_of(*before)
    added = job.plus(Step(len(before) + 1, OPENED, last))
    back, step = added.minus_last()
    assert views(back) == views(job)
    assert back.undone == (step,)


@settings(max_examples=60, deadline=None)
@given(
    st.permutations(["heat", "coil_ohms", "hood_flap", "seal_test"]),
    st.lists(OUTCOME_WORDS, min_size=4, max_size=4),
)
def test_findings_commute(order: list[str], outcomes: list[str]) -> None:
    """The order in which different findings of one stage are entered does not change which ones count."""
    outcome_of = dict(zip(["heat", "coil_ohms", "hood_flap", "seal_test"], outcomes, strict=True))
    job = job_of(*(Finding(name, outcome_of[name]) for name in order))
    assert sorted(counted(job)) == sorted((name, outcome, 0, 1) for name, outcome in outcome_of.items())


@settings(max_examples=60, deadline=None)
@given(st.lists(WORK, max_size=15))
def test_one_finding_counts_per_place_and_it_is_the_latest(payloads: list[Payload]) -> None:
    """Within a visit and stage each name and take counts once, with the outcome that was entered last."""
    job = job_of(*payloads)
    latest: dict[tuple[int, int, str, int], str | None] = {}
    stage, visit = 0, 1
    for payload in payloads:
        if isinstance(payload, RepairDone):
            stage += 1
        elif isinstance(payload, Closed):
            visit += 1
        elif isinstance(payload, Finding):
            latest[visit, stage, payload.name, payload.take] = payload.outcome
    found = [((p.visit, p.stage, p.finding.name, p.finding.take), p.finding.outcome) for p in job.findings]
    assert len(found) == len(latest)
    assert dict(found) == latest


@given(WORK)
def test_json_gives_the_payload_back(payload: Payload) -> None:
    """A payload written as JSON is read back equal."""
    assert from_json(kind_of(payload), to_json(payload)) == payload


OTHERS = ("shorten_duct", "louvred_door", "gas_supplier", "electrician")


@pytest.mark.parametrize("name", OTHERS)
def test_work_of_somebody_else_is_awaited_before_it_is_done(dryer: Appliance, store: Store, name: str) -> None:
    """Calling them mends nothing: the odds stay, the job does not end gone; told again it is done."""
    assert {n for n, r in dryer.knowledge.repair.items() if r.by_others} == set(OTHERS)
    visit = OpenJob.start(store, dryer)
    visit.find("dry_time", "longer")
    before = visit.now.belief.now
    visit.fix(name)
    assert visit.job.awaited == (name,) and not visit.job.repairs
    assert (visit.now.belief.now == before).all()
    with pytest.raises(FaultoddsError, match="is awaited"):
        visit.close("gone", note="it dries again")
    visit.fix(name)
    assert visit.job.repairs == (name,) and not visit.job.awaited
