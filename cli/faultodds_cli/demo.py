"""`demo`: one whole job on the gas dryer with nothing to type.

Customer, shop and machine are invented, and so is what each check shows; odds, prices and advice come from
the same engine as in a real call. The fault is fixed here, the way to it is not:
change a share or a price in the knowledge file and the job goes another way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec.structs import replace

from faultodds_cli.shared import options
from faultodds_cli.shared.call import standing_of, unsaved_job
from faultodds_cli.shared.printing import say
from faultodds_cli.shared.show_advice import actions, advice_lines, work_lines
from faultodds_cli.shared.show_known import evidence_lines, judgement_lines
from faultodds_cli.shared.show_odds import odds_lines
from faultodds_cli.shared.text import percent, width, wrap

if TYPE_CHECKING:
    from faultodds.belief import Appliance
    from faultodds.job import Job, JudgedFinding, Payload, Standing
    from faultodds.readings import Judgement

app = options.new_app("A whole worked job on the gas dryer, nothing to type.")

# What is wrong with the invented machine: good coils on the bench, weak ones in the heat.
FAULT = "coils.drop_out_hot"
FACTS = {
    "control": "timer",
    "auto_dry": "yes",
    "coil_layout": "two_coils_two_three_terminal",
    "fuel": "natural",
}
COMPLAINT = {"dry_time": "longer"}
# What the checks show on this machine before the repair, where that is not the plain good outcome.
WITH_FAULT = {
    "burner_watch": "lights_then_fails",
    "exhaust_cycling": "92-124F",
    "coil_ohms_hot": "OL/1.42k/590",
    "meter_clock": "84 s per half foot",
    "verification_run": "slow",
}
# Readings of sound parts, as a meter shows them.
SOUND = {
    "hood_air_speed": "1280 fpm",
    "static_pressure": "0.45 in wc",
    "exhaust_cycling": "121-154F",
    "coil_ohms": "1.16k/1.35k/560",
    "coil_ohms_hot": "1.3k/1.42k/620",
    "igniter_ohms": "140 ohm",
    "flame_sensor_continuity": "0.2 ohm",
    "fuse_continuity": "0.2 ohm",
    "high_limit_continuity": "0.3 ohm",
    "cycling_continuity": "0.2 ohm",
    "timer_contacts": "0.3 ohm",
    "centrifugal_contacts": "0.3 ohm",
    "spun_load_weight": "wet 13.1 lb dry 8.5 lb",
    "meter_clock": "84 s per half foot",
    "verification_run": "26 min",
}
MOST_MOVES = 20

SaveOption = Annotated[
    str | None,
    typer.Option("--save", metavar="FOLDER", help="Keep the demo job in this folder, to look at with 'job'."),
]


@dataclass
class Story:
    """The job as it grows: its appliance and its steps."""

    appliance: Appliance
    steps: list[tuple[Payload, float | None]]

    @property
    def job(self) -> Job:
        """The job so far."""
        return unsaved_job(self.appliance, (payload for payload, _ in self.steps))

    @property
    def view(self) -> Standing:
        """Belief and advice as they stand."""
        now = standing_of(self.appliance, self.job)
        return replace(now, situation=replace(now.situation, asking=False))  # the customer has said all they can

    def add(self, payload: Payload, minutes: float | None = None) -> None:
        """One more step."""
        self.steps.append((payload, minutes))

    @property
    def repaired(self) -> bool:
        """Whether a repair done so far puts the machine's fault right."""
        from faultodds.knowledge import repair_modes

        k = self.appliance.knowledge
        return any(FAULT in repair_modes(k, k.repair[name]) for name in self.job.repairs)


@app.command()
def demo(save: SaveOption = None) -> None:
    """A whole worked job on the gas dryer: complaint, checks, repair, verification, closed."""
    from faultodds.belief import open_appliance
    from faultodds.files import USUAL
    from faultodds_cli.shared.jobs import opened_store

    if save is not None:
        with opened_store(save):  # refused before the story, not after it
            pass
    story = Story(open_appliance(USUAL, revision="file"), [])  # the same story in every shop
    _opening(story)
    number = 1
    view = story.view
    while view.advice.kind in ("check", "repair") and number <= MOST_MOVES:
        number, view = number + 1, _move(story, view, number)
    _ending(story, view)
    if save is not None:
        _save(story, save)
    _what_next(save)


def _opening(story: Story) -> None:
    from faultodds.job import take_fact, take_finding

    k = story.appliance.knowledge
    say("A DEMO JOB. Shop, customer and machine are invented.")
    say(
        wrap(
            "Harbour Lane Appliance Service, Tuesday, 8:40. 'It takes far longer than it used to.' "
            "Gas dryer, dial timer, auto-dry. More the customer cannot say."
        )
    )
    say()
    say("First, before anything is weighed:")
    for stop in k.stop.values():
        say(wrap(f"{stop.ask} No.", "  - "))
    for name, value in FACTS.items():
        if name in {**k.context, **k.equipment}:
            story.add(take_fact(k, name, value))
    for name, value in COMPLAINT.items():
        story.add(take_finding(k, name, value).finding)
    say()
    say(evidence_lines(story.view))
    say()
    say(odds_lines(story.view, 5))


def _move(story: Story, view: Standing, number: int) -> Standing:
    """One check or repair: advised, done, entered; returns how things stand after it."""
    say()
    say(f"---- move {number} ".ljust(width(), "-"))
    say(work_lines(view))
    say()
    for action in actions(view, view.advice.work):
        _enter_state(story, action.name)
        if view.advice.kind == "check":
            say(_found(story, action.name, action.price.minutes))
        else:
            _repaired(story, action.name, action.price.minutes)
    after = story.view
    say()
    say(odds_lines(after, 4, view.belief))
    say(wrap(_comment(view, after), "  "))
    return after


def _comment(before: Standing, after: Standing) -> str:
    """What the last entry did to the odds, in one sentence."""
    k = after.appliance.knowledge
    first, last = before.belief.fault_odds()[0], after.belief.fault_odds()[0]
    if after.belief.sound > last.probability:
        return f"Most likely nothing is wrong with the machine any more: {percent(after.belief.sound)}."
    if first.name != last.name:
        return f"Now {k.title_of(last.name)} leads, no longer {k.title_of(first.name)}."
    moved = f"from {percent(first.probability)} to {percent(last.probability)}"
    return f"Still in the lead: {k.title_of(last.name)}, {moved}."


def _enter_state(story: Story, name: str) -> None:
    """The machine state that the work leaves."""
    from faultodds.job import state_after

    state = state_after(story.appliance, story.job, name)
    if state is not None:
        story.add(state)


def _found(story: Story, name: str, minutes: float) -> list[str]:
    """Enter what the check shows on this machine, and say it."""
    k = story.appliance.knowledge
    taken = _shows(story, name)
    story.add(taken.finding, minutes)
    judgement: Judgement | None = taken.judgement
    if judgement is not None:
        return [
            *wrap(f"The technician enters: {name} = {taken.finding.raw}"),
            *judgement_lines(k, name, judgement),
        ]
    outcome = taken.finding.outcome or ""
    return wrap(f"The technician enters: {name} = {outcome} ({k.check[name].outcomes[outcome]})")


def _shows(story: Story, name: str) -> JudgedFinding:
    """What the invented machine shows: its fault until that is repaired, a sound part's reading otherwise."""
    from faultodds.job import take_finding

    k = story.appliance.knowledge
    shown = None if story.repaired else WITH_FAULT.get(name)
    text = shown or SOUND.get(name) or next(iter(k.check[name].outcomes))
    return take_finding(k, name, text, FACTS, ambient="72F")


def _repaired(story: Story, name: str, minutes: float) -> None:
    from faultodds.job import RepairDone

    story.add(RepairDone(name), minutes)
    say(wrap(f"Done: {story.appliance.knowledge.repair[name].title}."))


def _ending(story: Story, view: Standing) -> None:
    from faultodds.job import ENDED, Closed

    say()
    say("---- the end ".ljust(width(), "-"))
    say(advice_lines(view))
    story.add(Closed("gone" if view.advice.kind == "stop" else "referred"))
    k = story.appliance.knowledge
    minutes = sum(m for _, m in story.steps if m is not None)
    titles = " and ".join(k.repair[name].title for name in story.job.repairs) or "no repair"
    truth = "It was what the machine had." if story.repaired else "The machine had something else."
    say()
    say(
        wrap(
            f"Job closed: {ENDED[story.job.outcome or 'gone']}. About {minutes:.0f} minutes of work; {titles}. {truth}"
        )
    )


def _save(story: Story, folder: str) -> None:
    from faultodds_cli.shared.jobs import opened_store

    with opened_store(folder) as store, store.together():
        k = story.appliance.knowledge
        job = store.new_job(k.appliance.id, revision=story.appliance.revision, title="demo job, invented")
        for payload, minutes in story.steps:
            store.append(job.id, payload, minutes)
    say(f"Kept as job {job.id} in {folder}.")


def _what_next(folder: str | None) -> None:
    say()
    say("Now yours. Type one of these:")
    for command, what in {
        "faultodds bench": "a guided call, with undo and save",
        "faultodds next --found dry_time=longer": "one answer, nothing kept",
        'faultodds read coil_ohms "1.15k/1.35k/560"': "one meter reading judged",
        "faultodds appliance show": "every name you can type",
    }.items():
        line = f"  {command:42} {what}"
        say([line] if len(line) <= width() else [f"  {command}", *wrap(what, "      ")])
    if folder is not None:
        say(f"  faultodds job list --data {folder}")
