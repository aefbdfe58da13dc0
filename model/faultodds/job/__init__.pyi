from .explain import (
    StoryLine as StoryLine, Tells as Tells, job_answer as job_answer, job_line as job_line, now_answer as now_answer,
    reminders as reminders, story as story, tells as tells, why_asked as why_asked,
)
from .closing import reason_owed as reason_owed
from .clauses import Item as Item
from .hearing import Hearer as Hearer
from .said import Said as Said
from .words import (
    Part as Part, Rule as Rule, Words as Words, grammar as grammar, listed as listed, own_words as own_words,
    words_from as words_from,
)
from .gates import (
    cause_owed as cause_owed, only_qualified as only_qualified, owed_on as owed_on, refuse_unqualified as refuse_unqualified,
)
from .fitting import Misfit as Misfit, misfits as misfits
from .job import UNSETTLED as UNSETTLED, Job as Job, PlacedFinding as PlacedFinding
from .naming import names_somebody as names_somebody
from .open_job import OpenJob as OpenJob
from .photos import keep_photo as keep_photo, photo_path as photo_path
from .put_back import PutBack as PutBack, closed_up as closed_up, put_back as put_back
from . import sayings as sayings
from .standing import Standing as Standing, stand as stand
from .steps import (
    ENDED as ENDED,
    Closed as Closed, Danger as Danger, Fact as Fact, Finding as Finding,
    MachineState as MachineState, Note as Note,
    Payload as Payload, RepairDone as RepairDone, Step as Step,
    summary as summary,
)
from .store import Store as Store, store_path as store_path
from .taking import (
    JudgedFinding as JudgedFinding, evidence_of as evidence_of, pair as pair, repairs_on as repairs_on,
    situation_of as situation_of, state_after as state_after, steps_for_one_shot as steps_for_one_shot,
    take_fact as take_fact, take_finding as take_finding, take_skip as take_skip, take_state as take_state,
)
from . import typed as typed
from .typed import asked as asked
