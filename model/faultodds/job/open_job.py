"""One technician on one call: the appliance, the job store and the job, bound together.

Everything entered goes through a `OpenJob`: it is judged, it is in the store before anything is answered, and
the belief and the advice follow from the job as it then stands. The guided call and the `job` commands are
thin screens over it.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from faultodds.advice import (
    Action,
    State,
    action,
    closing_lines,
    gone_unmended,
    not_looked_at_again,
    run_forbidden,
)
from faultodds.belief import Appliance, open_appliance
from faultodds.errors import ClashError, FaultoddsError, KnowledgeError, RevisionError, UnknownName
from faultodds.files import find, fingerprint, named, of_content, read_bytes
from faultodds.job.entering import JobEntries
from faultodds.job.gates import cause_owed, known_on, standing
from faultodds.job.job import ADVISED_WITH, Job
from faultodds.job.standing import Standing, believe, stand, unverified
from faultodds.job.taking import evidence_of
from faultodds.names import match
from faultodds.revisions import FILE, accepted
from faultodds.safety import CAUSE_LEFT, at_once, barred, not_run_now, said

if TYPE_CHECKING:
    from faultodds.job.store import Store


class OpenJob(JobEntries):
    """A job being worked on: what is entered in it (`entering.JobEntries`), and how it then stands.

    Findings that clash are saved: `now` then raises ClashError until one is undone or replaced.
    """

    @classmethod
    def start(cls, store: Store, appliance: Appliance, title: str = "", **settings: Any) -> OpenJob:
        """Start a job in the store; `settings` are those of the class."""
        with store.together():
            job = store.new_job(
                appliance.knowledge.appliance.id,
                revision=appliance.revision,
                title=title,
                source=appliance.source,
                fingerprint=appliance.fingerprint,
            )
            visit = cls(appliance, store, job, **settings)
            visit.keep_hands()
            visit.keep_technician()
        return visit

    @classmethod
    def resume(
        cls, store: Store, job_id: str, appliance: str | None = None, revision: str | None = None, **settings: Any
    ) -> OpenJob:
        """Go on with a job. `appliance`: a knowledge file to use instead of the one it was started on. `revision`: learned
        numbers to use this once, instead of those the job is advised with.

        Raises UnknownName when there is no such job, FaultoddsError when the file is for another appliance, or gone. Numbers of the
        job's that cannot be used any more are set aside, and `Appliance.doubt` says so, as `changed` does of other content.
        """
        job = store.get(job_id)
        opened = _opened(job, appliance, revision)
        found = opened.knowledge.appliance.id
        if found != job.appliance:
            raise FaultoddsError(
                f"job {job.id} is about '{job.appliance}', but {appliance} describes '{found}'. "
                "Leave out --appliance, or give the file that the job was started with."
            )
        return cls(opened, store, job, **settings)

    @classmethod
    def readvise(
        cls, store: Store, job_id: str, revision: str, appliance: str | None = None, **settings: Any
    ) -> OpenJob:
        """Go on with a job on other learned numbers, from now on; a note in the job says so."""
        visit = cls.resume(store, job_id, appliance, revision, **settings)
        before, now = visit.job.revision or FILE, visit.appliance.revision
        if before != now:
            with visit.together():
                visit.job = store.set_revision(job_id, now)
                visit.remark(f"{ADVISED_WITH}{now} from here on, before with {before}")
        return visit

    @cached_property
    def accepted_since(self) -> str:
        """The revision ("file" for none) that is accepted now, when the job is advised with another; else ""."""
        stands = accepted(self.job.appliance)
        if self.appliance.doubt:
            return ""  # it is said which numbers cannot be used
        return "" if stands == self.appliance.revision else stands

    @property
    def now(self) -> Standing:
        """Belief and advice for the job as it stands; raises ClashError while its findings fit no fault."""
        self._refuse_while_stopped()
        if self._now is None:
            try:
                self._now = stand(self.appliance, self.job, self.situation)
            except ClashError as error:
                self._now = error
        if isinstance(self._now, ClashError):
            raise self._now
        return self._now

    def clash(self) -> ClashError | None:
        """The clash of the findings as they stand, or None; costs a belief, no advice."""
        try:
            believe(self.appliance, self.job)
        except ClashError as error:
            return error
        return None

    @property
    def unverified(self) -> bool:
        """Whether a repair was done and the machine has not had its verification run since, on this visit."""
        return unverified(self.knowledge, self.job)

    def how(self, name: str) -> Action:
        """How to do a check or repair from the machine's state as it is now."""
        work = {**self.knowledge.check, **self.knowledge.repair}
        found = match("check or repair", name, work, {n: w.title for n, w in work.items()})
        self._refuse_while_stopped()
        known, evidence, belief = known_on(self.appliance, self.job)
        why = not_run_now(self.knowledge, known, self.knowledge.lacking(self.situation.skipped)).get(found, "")
        if self.for_the_qualified([found]):
            why = "it is for qualified people, and none is said to be here. Who is, sees its steps where such work is offered."
        if not why and found in self.knowledge.repair:
            seen = run_forbidden(self.knowledge, evidence, belief, known, [found])
            why = (
                f"it is proved by a run, and the machine is not run with {seen}, which may still be so after it. "
                "Do what is advised first: it looks for what else brings that."
                if seen
                else ""
            )
        if why:
            raise FaultoddsError(f"'{found}' is not for now: {why}")
        return action(self.appliance.fitted(self.job.facts), found, self.state, self.labour_rate, known)

    def at_once(self) -> tuple[str, ...]:
        """What is to be done before anything else because of what was found; nothing on a call that has ended."""
        return () if self.job.is_closed else at_once(self.knowledge, known_on(self.appliance, self.job)[0])

    def out_of_service(self, ending: str = "") -> list[str]:
        """What was found with which nobody is left with the machine, as it is told: it must not run, or not with heat, or a danger
        is gone though nothing was put right; handed over (by the job or by the `ending` to come), what nobody looked at again and a
        fault whose cause is owed."""
        gone = gone_unmended(self.knowledge, evidence_of(self.appliance, self.job))
        handed_over = (ending or self.job.outcome) == "referred"
        left = [said(n, o) for n, o in gone]
        if handed_over:
            owed = cause_owed(self.appliance, self.job)
            left += [*self.not_looked_at_again(), *(said(mode, CAUSE_LEFT) for mode in owed)]
        return list(dict.fromkeys([*standing(self.appliance, self.job), *left]))

    def not_looked_at_again(self) -> list[str]:
        """What was found that kept the machine off, or somebody beside it, and was not looked at again since, as it is told."""
        return [said(n, o) for n, o in not_looked_at_again(self.knowledge, evidence_of(self.appliance, self.job))]

    def put_back(self, name: str, state: State) -> list[str]:
        """The steps after a repair's own that test it, put the machine back together and prove it, begun in a machine state; none
        for a machine that must not run."""
        if self.left_off:
            return []
        lines = action(self.appliance.fitted(self.job.facts), name, state).lines
        steps = [i for i, line in enumerate(lines) if line.part == "steps"]
        opening = [i for i, line in enumerate(lines) if line.move is not None and line.move.opens]
        last = max(steps or opening, default=-1)
        return [line.text for line in lines[last + 1 :]]

    def closing_up(self, ending: str = "") -> list[str]:
        """The steps that put the machine back together and on again; a machine that must not run stays shut off, and none while
        the call is stopped for danger."""
        if self.job.stopped is not None:
            return []
        return [line.text for line in closing_lines(self.knowledge, self.state, bool(self.out_of_service(ending)))]

    @property
    def left_off(self) -> bool:
        """Whether the machine is left shut off: it must not run, or not with heat, as things stand."""
        return bool(barred(self.knowledge, known_on(self.appliance, self.job)[0]))


def _opened(job: Job, appliance: str | None, revision: str | None) -> Appliance:
    name = appliance or _file_of(job)
    try:
        opened = open_appliance(name, revision=revision or job.revision or FILE)
    except (RevisionError, UnknownName) as error:
        if revision is not None:
            raise
        gone = (
            f"Job {job.id} is advised with revision {job.revision}, which cannot be used any more: {error} The knowledge file's "
            f"own numbers are used. To keep them, or choose others: faultodds job revision {job.typed} file (or the id of one)."
        )
        opened = replace(open_appliance(name, revision=FILE), doubt=gone)
    if job.fingerprint in ("", opened.fingerprint):
        return opened
    return replace(
        opened,
        changed=f"Job {job.id} was started on {job.source}, {job.fingerprint}; it is advised from {opened.source} as it is now, "
        f"{opened.fingerprint}, which says something else.",
    )


def _file_of(job: Job) -> str:
    """The knowledge file to go on with: the one that a job was started on, or one of the same content, or what it has become."""
    if not job.fingerprint:
        return job.appliance
    path: Path | None = None
    try:
        path = find(job.source)
        if fingerprint(read_bytes(path)) == job.fingerprint:
            return job.source
    except KnowledgeError:
        pass
    same = of_content(job.fingerprint)
    if same is None and path is None:
        raise KnowledgeError(
            f"job {job.id} was started on the knowledge file {job.source}, and neither that nor one of the same content "
            f"({job.fingerprint}) is there any more. Say where it is: --appliance FILE; or keep it with the program: faultodds "
            "appliance add FILE."
        )
    return job.source if same is None else named(same)
