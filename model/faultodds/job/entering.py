"""What a technician enters in a job that is being worked on: judged, then on disk, before anything is answered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from msgspec.structs import replace

from faultodds.errors import FaultoddsError, SafetyStop
from faultodds.job.closing import ending
from faultodds.job.fitting import Misfit, misfit
from faultodds.job.gates import brought, likely_shows, refuse_run, refuse_unqualified
from faultodds.job.holding import HeldJob
from faultodds.job.job import ASKED, Job
from faultodds.job.sayings import in_words
from faultodds.job.steps import (
    OUTCOMES,
    Closed,
    Danger,
    Fact,
    Finding,
    Kept,
    MachineState,
    Note,
    Payload,
    RepairDone,
    Skip,
    Step,
)
from faultodds.job.taking import (
    JudgedFinding,
    called_or_done,
    evidence_of,
    refuse_absent,
    state_after,
    stop_if_shown,
    take_fact,
    take_finding,
    take_skip,
)
from faultodds.job.typed import named
from faultodds.names import fold, match
from faultodds.safety import refuse_unsafe_state


class JobEntries(HeldJob):
    """A job and what is entered in it.

    Methods that enter something return once it is on disk. They raise FaultoddsError for what cannot be taken (nothing is saved
    then) and SafetyStop for a stop sign. Findings that clash *are* saved: `now` then raises ClashError until one is undone or
    replaced. `by` names the qualified person who did what is for qualified people, on a job that offers no such work.
    """

    # --- what is entered ---

    def fact(self, name: str, value: str) -> Fact:
        """Enter a context or equipment fact."""
        return self.facts([(name, value)])[0]

    def facts(self, pairs: Iterable[tuple[str, str]]) -> list[Fact]:
        """Enter several facts, or none of them when one cannot be taken."""
        pairs = list(pairs)
        self.listen(*(f"{name}={value}" for name, value in pairs))
        facts = [take_fact(self.knowledge, name, in_words(self.knowledge, name, value)) for name, value in pairs]
        self._enter_all(facts)
        return facts

    def find(
        self,
        name: str,
        value: str,
        *,
        again: bool = False,
        reading: bool = False,
        minutes: float | None = None,
        by: str = "",
        bring: bool = True,
    ) -> JudgedFinding:
        """Enter what a symptom or check showed.

        The machine is then in the state that the check needs. `again` is a deliberate re-measurement: it
        counts beside the earlier one, where a plain repeat takes its place; a run always counts
        beside. Without `bring` the machine stays as it is.
        """
        return self.finds([(name, value, reading)], again=again, minutes=minutes, by=by, bring=bring)[0]

    def finds(
        self,
        given: Iterable[tuple[str, str, bool]],
        *,
        again: bool = False,
        minutes: float | None = None,
        by: str = "",
        bring: bool = True,
    ) -> list[JudgedFinding]:
        """Enter several findings (name, value, whether it can only be a reading), or none of them. `minutes` is what they took
        together."""
        taken: list[JudgedFinding] = []
        job = self.job
        for name, value, reading in given:
            self.stop_sign(name, value)
            self.listen(f"{name}={value}")
            taken.append(self.judge(name, value, again=again, reading=reading, job=job))
            job = job.plus(Step(job.last_seq + 1, job.opened_at, taken[-1].finding))
        self._enter_all([each.finding for each in taken], minutes, by, bring)
        for each in taken:
            try:
                stop_if_shown(self.knowledge, each.finding)
            except SafetyStop as stop:
                self._stop(str(stop))
        return taken

    def judge(
        self, name: str, value: str, *, again: bool = False, reading: bool = False, job: Job | None = None
    ) -> JudgedFinding:
        """What `find` would enter in the job as it stands, or in `job`, entering nothing."""
        job = job or self.job
        found = named(self.knowledge, name, value)
        spec = self.knowledge.reading.get(found)
        if spec is not None and spec.at_room and self.ambient and " at " not in value and _has_digit(value):
            value = f"{value} at {self.ambient}"  # the raw reading is kept together with what it depends on
        # What is entered plainly takes the place of the last measurement, not of the first; never of one that can hurt somebody,
        # and a run never of a run: the machine ran once more.
        take = job.next_take(found)
        plain = take_finding(self.knowledge, found, value, job.facts, self.ambient, max(take - 1, 0), reading)
        beside = again or found == self.knowledge.costs.verify
        if not beside and not self.keeps_earlier(plain.finding, job):
            return plain
        return take_finding(self.knowledge, found, value, job.facts, self.ambient, take, reading)

    def keeps_earlier(self, finding: Finding, job: Job | None = None) -> bool:
        """Whether what was found before, and can hurt somebody, counts beside this finding of the same, which cannot."""
        here = [
            p.finding
            for p in (job or self.job).findings
            if (p.finding.name, p.stage, p.visit) == (finding.name, self.job.stage, self.job.visit)
        ]
        harms = self.knowledge.observables[finding.name].harms
        return bool(here) and likely_shows(here[-1], harms) and not likely_shows(finding, harms)

    def misfit(self, name: str, value: str, *, again: bool = False) -> Misfit | None:
        """How what `find` would enter does not fit what was found before; None when it fits, or is danger or stops the machine,
        which is not asked about."""
        finding = self.judge(name, value, again=again).finding
        try:
            stop_if_shown(self.knowledge, finding)
        except SafetyStop:
            return None
        seen, told = self.knowledge.observables[finding.name], (finding.outcome, *(finding.likelihood or ()))
        if any(o in told for o in (*seen.stops, *seen.stops_away, *seen.lets_out)):
            return None
        return misfit(self.appliance, self.job, finding)

    def fix(self, name: str, minutes: float | None = None, by: str = "") -> RepairDone | Skip:
        """Enter a repair that was done, as `fixes` does; the machine is then in the state that it needs."""
        return self.fixes([name], minutes, by)[0]

    def fixes(
        self, names: Iterable[str], minutes: float | None = None, by: str = "", bring: bool = True
    ) -> list[RepairDone | Skip]:
        """Enter several repairs in order, or none when one cannot be taken. `minutes` is what they took together. Work of somebody
        else is awaited when it is entered first (`Job.awaited`), and done when it is entered again."""
        names = list(names)
        self.listen(*names)
        repairs = [called_or_done(self.knowledge, self.job, name) for name in names]
        self._enter_all(repairs, minutes, by, bring)
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
        found = match("tool", tool, self.knowledge.tools())
        needing = self.knowledge.needing([found])
        left = [name for name in needing if name not in self.job.skipped]
        if left or found not in self.missing_tools():
            self._enter_all([Skip(name, _no(found)) for name in left or needing])
        return found, left

    def missing_tools(self) -> dict[str, list[str]]:
        """The tools that were said not to be there on this visit, each with what was left out for it."""
        reasons, gone = {_no(tool): tool for tool in self.knowledge.tools()}, dict[str, list[str]]()
        for step in self.job.steps:
            if isinstance(step.payload, Closed):
                gone = {}
            elif isinstance(step.payload, Skip) and step.payload.reason in reasons:
                gone.setdefault(reasons[step.payload.reason], []).append(step.payload.name)
        # What was done all the same is not left out any more, and what it showed is not taken back with the tool.
        still = {tool: [name for name in names if name in self.job.skipped] for tool, names in gone.items()}
        return {tool: names for tool, names in still.items() if names}

    def note(self, text: str) -> Note:
        """Enter free text; never evidence."""
        if not text.strip():
            raise FaultoddsError("a note needs some text. Type for example: note key with the neighbour.")
        self.listen(text)
        return self.remark(text)

    def keep(self, name: str, value: str) -> Kept:
        """Keep a model, serial number, part number, technician or photograph with the job, a closed one too."""
        kept = Kept(name, value.strip())
        self.listen(kept.value)
        self._enter(kept)
        return kept

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
        refuse_absent(self.knowledge, self.job.facts, (i for i, is_open in changes.items() if is_open))
        refuse_unsafe_state(self.knowledge, {i for i in access if changes.get(i, i in self.state)})
        self._enter(MachineState(changes))
        return list(changes)

    def safety_asked(self) -> None:
        """Keep with the job that every stop sign was asked for first, and plainly denied."""
        self.remark(ASKED + "; ".join(s.title for s in self.knowledge.stop.values()) + ".")

    def close(self, outcome: str, on: str | None = None, note: str = "") -> Closed:
        """Enter how the call ended: gone, referred, or came_back on a day YYYY-MM-DD (which opens the job
        again). Gone with nothing repaired or run needs the reason as its `note`."""
        self.listen(outcome, note)
        how = match("outcome of a job", outcome, OUTCOMES)
        if how != "referred":
            self._refuse_while_stopped()
        closed = ending(self.appliance, self.job, how, on, note, self.store.clock().astimezone().date())
        self._enter(closed)
        return closed

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
        last = self.job.steps[-1].payload if self.job.steps else None
        asked = (ASKED, *(sign.ask for sign in self.knowledge.stop.values()))
        if isinstance(last, Note) and last.text.startswith(asked):
            raise FaultoddsError(
                "the answers to the safety questions stay with the job and are not undone. An older entry: undo and its name. "
                "If there is danger after all, type what it is."
            )
        with self.together():
            return self._undone()

    def _undone(self) -> tuple[Step, ...]:
        self.job, step = self.store.undo(self.job.id, expected_seq=self.job.last_seq)
        taken = [step]
        while (
            isinstance(step.payload, Skip) and step.payload.reason.startswith(_no("")) and self._same_tool(step.payload)
        ):
            self.job, step = self.store.undo(self.job.id, expected_seq=self.job.last_seq)
            taken.append(step)
        if isinstance(step.payload, MachineState) and self._was_confirmed(step.payload):
            self.job, step = self.store.undo(self.job.id, expected_seq=self.job.last_seq)
            taken.append(step)
        elif isinstance(step.payload, Finding | RepairDone) and self._came_along(step.payload):
            self.job, state = self.store.undo(self.job.id, expected_seq=self.job.last_seq)
            taken.append(state)
        self._now = None
        return tuple(taken)

    def take_back(self, name: str) -> tuple[Step, ...]:
        """Take back the latest entry of a finding, repair, fact or skip, and nothing that was entered after it; by the name of a
        tool, that it was not there."""
        self._refuse_while_stopped()
        missing = self.missing_tools()
        entered = [s.payload.name for s in self.job.steps if isinstance(s.payload, Finding | RepairDone | Fact | Skip)]
        k = self.knowledge
        titles = {n: each.title for n, each in {**k.observables, **k.repair}.items() if n in entered}
        known = list(dict.fromkeys([*missing, *entered]))
        found = match("entry", name.removeprefix("no "), known, titles, "Type story to see them all.")
        self._now, taken = None, list[Step]()
        with self.together():
            for each in missing.get(found, [found]):
                self.job, steps = self.store.take_back(self.job.id, each, expected_seq=self.job.last_seq)
                taken += steps
            if found in missing:  # what takes another tool that is not there stays left out
                for tool in sorted(missing.keys() - {found}):
                    left = [n for n in k.needing([tool]) if n not in self.job.skipped]
                    self._enter_all([Skip(n, _no(tool)) for n in left])
        return tuple(taken)

    # --- inside ---

    def _enter(self, payload: Payload, minutes: float | None = None) -> None:
        self._enter_all([payload], minutes)

    def _enter_all(
        self, payloads: Sequence[Payload], minutes: float | None = None, by: str = "", bring: bool = True
    ) -> None:
        """Put steps on disk, each after the change of machine state that it brings (none without `bring`): all in one
        transaction, or none when one of them cannot be taken. The minutes go with the last."""
        for payload in payloads:
            if not isinstance(payload, Note | Kept) and payload != Closed(
                "referred", note=getattr(payload, "note", "")
            ):
                self._refuse_while_stopped()
        self.try_out(payloads)
        barred = self.for_the_qualified(p.name for p in payloads if isinstance(p, Finding | RepairDone))
        self.listen(by)
        refuse_unqualified(barred, by)
        steps: list[Payload] = [Note(f"{', '.join(barred)}: by {by.strip()}")] if barred else []
        job = self.job
        for payload in payloads:
            work = payload.name if isinstance(payload, Finding | RepairDone) else ""
            if work == self.knowledge.costs.verify and not job.is_closed:
                refuse_run(self.appliance, job)
            found = payload if isinstance(payload, Finding) else None
            state = brought(self.appliance, job, work, found) if bring else None
            for each in (state, payload) if state is not None else (payload,):
                steps.append(each)
                job = job.plus(Step(job.last_seq + 1, job.opened_at, each))
        self._append(*steps, minutes=minutes)

    def leads_to(self, work: Iterable[str]) -> frozenset[str]:
        """The access items that would be open after these checks or repairs, if the machine is as they need it."""
        job = self.job
        for name in work:
            found = [p.finding for p in job.findings if p.finding.name == name]
            state = brought(self.appliance, job, name, found[-1] if found else None)
            if state is not None:
                job = job.plus(Step(job.last_seq + 1, job.opened_at, state))
        return frozenset(item for item, is_open in job.machine_state.items() if is_open)

    def worked_in(self, work: Iterable[str]) -> frozenset[str]:
        """The access items that these repairs open, if the machine is as it is taken to be; checks leave theirs as they are."""
        done = (state_after(self.appliance, self.job, n, closed_up=False) for n in work if n in self.knowledge.repair)
        return frozenset(i for each in done if each is not None for i, is_open in each.changes.items() if is_open)

    def _same_tool(self, skip: Skip) -> bool:
        """Whether the job's last step was left out for want of the same tool."""
        last = self.job.steps[-1].payload if self.job.steps else None
        return isinstance(last, Skip) and last.reason == skip.reason

    def _was_confirmed(self, state: MachineState) -> bool:
        """Whether the job's last step is the work that brings this change of machine state, which was said to be so after it."""
        last = self.job.steps[-1].payload if self.job.steps else None
        if not isinstance(last, Finding | RepairDone):
            return False
        earlier = replace(self.job, steps=self.job.steps[:-1])
        return brought(self.appliance, earlier, last.name, last if isinstance(last, Finding) else None) == state

    def _came_along(self, work: Finding | RepairDone) -> bool:
        """Whether the job's last step is the change of machine state that went with `work`."""
        if not self.job.steps or not isinstance(self.job.steps[-1].payload, MachineState):
            return False
        earlier = replace(self.job, steps=self.job.steps[:-1])
        found = work if isinstance(work, Finding) else None
        return brought(self.appliance, earlier, work.name, found) == self.job.steps[-1].payload


def _no(tool: str) -> str:
    """The reason that is kept for work left out for want of a tool."""
    return f"no tool: {tool}"


def _has_digit(text: str) -> bool:
    return any(c.isdigit() for c in text)
