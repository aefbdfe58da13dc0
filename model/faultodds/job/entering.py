"""What a technician enters in a job that is being worked on: judged, then on disk, before anything is answered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING, NoReturn

from msgspec.structs import replace

from faultodds.advice import Situation, State
from faultodds.belief import Appliance
from faultodds.errors import ClashError, FaultoddsError, SafetyStop
from faultodds.job.job import Job
from faultodds.job.standing import Standing
from faultodds.job.steps import (
    OUTCOMES,
    Closed,
    Danger,
    Fact,
    Finding,
    Hands,
    MachineState,
    Note,
    Payload,
    RepairDone,
    Safe,
    Skip,
    Step,
)
from faultodds.job.taking import (
    JudgedFinding,
    evidence_of,
    situation_of,
    state_after,
    stop_if_danger,
    take_fact,
    take_finding,
    take_repair,
    take_skip,
)
from faultodds.job.typed import asked, stop_sign_named
from faultodds.knowledge import Knowledge
from faultodds.names import fold, match
from faultodds.safety import danger_in, refuse_unsafe_state, still_owed

if TYPE_CHECKING:
    from faultodds.job.store import Store


class JobEntries:
    """A job and what is entered in it.

    `qualified`: whether energised and gas-pressure work may be offered, None for what the job says; what the job or its shop
    has switched off stays off. `labour_rate` overrides the file's,
    per hour; `ambient` is the room's temperature for readings that need it. Methods that enter something
    return once it is on disk. They raise FaultoddsError for what cannot be taken (nothing is saved then)
    and SafetyStop for a stop sign. Findings that clash *are* saved: `now` then raises ClashError until one
    is undone or replaced.
    """

    def __init__(
        self,
        appliance: Appliance,
        store: Store,
        job: Job,
        *,
        qualified: bool | None = None,
        labour_rate: float | None = None,
        ambient: str | None = None,
    ) -> None:
        self.appliance = appliance
        self.store = store
        self.job = job
        self.qualified = qualified
        self.labour_rate = labour_rate
        self.ambient = ambient
        self._now: Standing | ClashError | None = None

    @property
    def knowledge(self) -> Knowledge:
        """The appliance's knowledge file."""
        return self.appliance.knowledge

    @property
    def situation(self) -> Situation:
        """Where the technician stands."""
        shop = self.appliance.shop
        allowed = self.qualified is not False and self.job.qualified and (shop is None or shop.qualified)
        return situation_of(self.job, allowed, self.labour_rate)

    @property
    def state(self) -> State:
        """The access items that are open, shut off or moved now."""
        return self.situation.state

    def keep_hands(self) -> None:
        """Keep with the job that work for qualified people is not offered, or is again, when that was said here."""
        shop = self.appliance.shop
        said = False if shop is not None and not shop.qualified else self.qualified
        if said is not None and said != self.job.qualified and not self.job.is_closed:
            self._append(Hands(said))

    # --- what is entered ---

    def fact(self, name: str, value: str) -> Fact:
        """Enter a context or equipment fact."""
        return self.facts([(name, value)])[0]

    def facts(self, pairs: Iterable[tuple[str, str]]) -> list[Fact]:
        """Enter several facts, or none of them when one cannot be taken."""
        pairs = list(pairs)
        self.listen(*(f"{name}={value}" for name, value in pairs))
        facts = [take_fact(self.knowledge, name, value) for name, value in pairs]
        self.try_out(facts)
        for fact in facts:
            self._enter(fact)
        return facts

    def find(
        self,
        name: str,
        value: str,
        *,
        again: bool = False,
        reading: bool = False,
        minutes: float | None = None,
    ) -> JudgedFinding:
        """Enter what a symptom or check showed.

        The machine is then in the state that the check needs. `again` is a deliberate re-measurement: it
        counts beside the earlier one, where a plain repeat takes its place.
        """
        self.stop_sign(name, value)
        self.listen(f"{name}={value}")
        taken = self.judge(name, value, again=again, reading=reading)
        self._enter(taken.finding, minutes)
        return taken

    def judge(self, name: str, value: str, *, again: bool = False, reading: bool = False) -> JudgedFinding:
        """What `find` would enter, entering nothing."""
        observables = self.knowledge.observables()
        found = match("symptom or check", name, observables, {n: o.title for n, o in observables.items()})
        spec = self.knowledge.reading.get(found)
        if spec is not None and spec.at_room and self.ambient and " at " not in value and _has_digit(value):
            value = f"{value} at {self.ambient}"  # the raw reading is kept together with what it depends on
        take = self.job.next_take(found) if again else 0
        return take_finding(self.knowledge, found, value, self.job.facts, self.ambient, take, reading)

    def fix(self, name: str, minutes: float | None = None) -> RepairDone:
        """Enter a repair that was done; the machine is then in the state that it needs."""
        return self.fixes([name], minutes)[0]

    def fixes(self, names: Iterable[str], minutes: float | None = None) -> list[RepairDone]:
        """Enter several repairs in order, or none when one is no repair. `minutes` is what each took."""
        names = list(names)
        self.listen(*names)
        repairs = [take_repair(self.knowledge, name) for name in names]
        for repair in repairs:
            self._enter(repair, minutes)
        return repairs

    def verify(self, value: str, minutes: float | None = None) -> JudgedFinding:
        """Enter how the verification run ended."""
        return self.find(self.knowledge.costs.verify, value, minutes=minutes)

    def skip(self, name: str, reason: str = "") -> Skip:
        """Enter that a check or repair cannot be done now; it is offered no more on this visit."""
        self.listen(name, reason)
        skip = take_skip(self.knowledge, name, reason)
        self._enter(skip)
        return skip

    def without(self, tool: str) -> tuple[str, list[str]]:
        """Enter that a tool is not there: everything that needs it is offered no more on this visit. One `undo` takes it all
        back. Returns the tool and what it leaves out."""
        self.listen(tool)
        work = {**self.knowledge.check, **self.knowledge.repair}
        known = {t for each in work.values() for t in each.tools}
        found = match("tool", tool, sorted(known))
        left = [name for name, each in work.items() if found in each.tools and name not in self.job.skipped]
        for name in left:
            self._enter(Skip(name, _no(found)))
        return found, left

    def note(self, text: str) -> Note:
        """Enter free text; never evidence."""
        if not text.strip():
            raise FaultoddsError("a note needs some text. Type for example: note key with the neighbour.")
        self.listen(text)
        return self.remark(text)

    def remark(self, text: str) -> Note:
        """A note in the program's own words, which are not listened to."""
        note = Note(text.strip())
        self._enter(note)
        return note

    def set_open(self, item: str, is_open: bool) -> str:
        """Correct the machine's state: an access item ("front_open", "unplugged") is open or done now, or
        is not."""
        return self.set_state({item: is_open})[0]

    def set_state(self, items: Mapping[str, bool]) -> list[str]:
        """Correct several access items at once; raises FaultoddsError, nothing saved, for a state that is not safe."""
        self.listen(*items)
        access = self.knowledge.access
        titles = {n: a.title for n, a in access.items()}
        shut_by = {
            word: n for n, a in access.items() if a.makes_safe for word in (a.makes_safe, f"{a.makes_safe}_cock")
        }
        changes = {}
        for item, is_open in items.items():
            # "gas" is open when its item, "gas cock shut", is not.
            shut = shut_by.get(fold(item))
            changes[shut or match("access item", item, access, titles)] = is_open is (shut is None)
        refuse_unsafe_state(self.knowledge, {i for i in access if changes.get(i, i in self.state)})
        self._enter(MachineState(changes))
        return list(changes)

    def close(self, outcome: str, on: str | None = None, note: str = "") -> Closed:
        """Enter how the call ended: gone, referred, or came_back on a day YYYY-MM-DD (which opens the job
        again)."""
        self.listen(outcome, note)
        closed = Closed(match("outcome of a job", outcome, OUTCOMES), _day(on), note)
        if closed.outcome == "gone":
            self._refuse_owed()
        self._enter(closed)
        return closed

    def _refuse_owed(self) -> None:
        """Refuse to close on a fault that something brought on, while what did can still be looked for."""
        k, job = self.knowledge, self.job
        done = {p.finding.name for p in job.findings}
        for mode, checks in still_owed(k, job.repairs, done).items():
            left = [c for c in checks if c not in job.skipped]
            if left:
                raise FaultoddsError(
                    f"{k.title_of(mode)}: it was put right, and nothing was found that brings it on. Find and mend that, or "
                    f"enter {' or '.join(left)}; then close gone. What cannot be done now: skip {left[0]} and the reason, "
                    "or close referred."
                )

    def try_out(self, payloads: Iterable[Payload]) -> None:
        """Raise FaultoddsError when these cannot be entered one after the other; nothing is entered."""
        job = self.job
        for payload in payloads:
            job = job.plus(Step(job.last_seq + 1, job.opened_at, payload))
        evidence_of(self.appliance, job)

    def undo(self) -> tuple[Step, ...]:
        """Take back the last step, and with a check or repair the opening and shutting that came with it."""
        if self.job.steps and isinstance(self.job.steps[-1].payload, Danger):
            self._refuse_while_stopped()
        self.job, step = self.store.undo(self.job.id, expected_seq=self.job.last_seq)
        taken = [step]
        while (
            isinstance(step.payload, Skip) and step.payload.reason.startswith(_no("")) and self._same_tool(step.payload)
        ):
            self.job, step = self.store.undo(self.job.id, expected_seq=self.job.last_seq)
            taken.append(step)
        if isinstance(step.payload, Finding | RepairDone) and self._came_along(step.payload.name):
            self.job, state = self.store.undo(self.job.id, expected_seq=self.job.last_seq)
            taken.append(state)
        self._now = None
        return tuple(taken)

    def stop_sign(self, sign: str, value: str) -> bool:
        """Whether `sign` is a stop sign that `value` plainly denies; raises SafetyStop, noted in the job,
        unless it does."""
        named = stop_sign_named(self.knowledge, sign)
        if named is None:
            return False
        try:
            return stop_if_danger(self.knowledge, named, value)
        except SafetyStop as stop:
            self._stop(str(stop))

    def listen(self, *texts: str) -> None:
        """Raise SafetyStop, kept with the job, when one of the texts speaks of danger in whatever words. A stop sign by its name
        ("gas_smell=no") is left to `stop_sign`."""
        signs = {name: (sign.title, sign.steps) for name, sign in self.knowledge.stop.items()}
        for text in texts:
            if "=" in text and stop_sign_named(self.knowledge, text.partition("=")[0]):
                continue
            danger = danger_in(text, signs, self._is_name)
            if danger is not None:
                self._stop(danger)

    def safe(self, text: str = "") -> None:
        """Enter that it is safe again; raises FaultoddsError when nothing was wrong."""
        self.listen(text)
        if self.job.stopped is None:
            raise FaultoddsError(f"job {self.job.id} is not stopped: nothing dangerous was told of.")
        self._append(Safe(text.strip()))

    # --- inside ---

    def _is_name(self, word: str) -> bool:
        k = self.knowledge
        return any(word in names for names in (k.observables(), k.repair, asked(k), k.access, k.component))

    def _stop(self, text: str) -> NoReturn:
        self._append(Danger(text))
        self._refuse_while_stopped()
        raise AssertionError("a job is stopped by the danger that was just entered")

    def _refuse_while_stopped(self) -> None:
        if self.job.stopped is not None:
            raise SafetyStop(
                f"{self.job.stopped.text}\nJob {self.job.id} is kept, and stands still until it is safe. Then type: "
                f"faultodds job safe {self.job.id}, or faultodds bench {self.job.id}"
            )

    def _enter(self, payload: Payload, minutes: float | None = None) -> None:
        """Put a step on disk, after the change of machine state that it brings; nothing when the facts rule
        it out."""
        if not isinstance(payload, Note) and payload != Closed("referred", note=getattr(payload, "note", "")):
            self._refuse_while_stopped()
        self.try_out([payload])
        if isinstance(payload, Finding | RepairDone):
            state = state_after(self.appliance, self.job, payload.name)
            if state is not None:
                self._append(state)
        self._append(payload, minutes)

    def _append(self, payload: Payload, minutes: float | None = None) -> None:
        self._now = None
        try:
            self.job = self.store.append(self.job.id, payload, minutes, expected_seq=self.job.last_seq)
        except FaultoddsError as error:
            self.job = getattr(error, "job", self.job)  # another terminal was here: go on from what it left
            raise

    def _same_tool(self, skip: Skip) -> bool:
        """Whether the job's last step was left out for want of the same tool."""
        last = self.job.steps[-1].payload if self.job.steps else None
        return isinstance(last, Skip) and last.reason == skip.reason

    def _came_along(self, work: str) -> bool:
        """Whether the job's last step is the change of machine state that went with `work`."""
        if not self.job.steps or not isinstance(self.job.steps[-1].payload, MachineState):
            return False
        earlier = replace(self.job, steps=self.job.steps[:-1])
        return state_after(self.appliance, earlier, work) == self.job.steps[-1].payload


def _no(tool: str) -> str:
    """The reason that is kept for work left out for want of a tool."""
    return f"no tool: {tool}"


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise FaultoddsError(f"'{text}' is not a day. Type it as YYYY-MM-DD, for example 2025-03-31.") from None


def _has_digit(text: str) -> bool:
    return any(c.isdigit() for c in text)
