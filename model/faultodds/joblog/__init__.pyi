from . import clean as clean
from .by_technician import Record as Record, add_records as add_records, between as between, differences as differences
from .clean import (
    BACK_AFTER as BACK_AFTER, CAME_BACK as CAME_BACK, DAY as DAY, ENDED as ENDED, FACT as FACT, FAILED as FAILED,
    FOLLOWED as FOLLOWED, FOUND as FOUND, GONE as GONE, BILL as BILL, BRANCH as BRANCH,
    JOB as JOB, MINUTES as MINUTES, TECHNICIAN as TECHNICIAN, REPAIRS as REPAIRS, read_clean as read_clean,
    validate as validate, weights as weights,
)
from .cleaning_report import CleaningReport as CleaningReport, lines as lines
from .describe import ColumnSeen as ColumnSeen, Description as Description
from .drafts import (
    PROPOSED as PROPOSED, Draft as Draft, Options as Options, already_clean as already_clean,
    describe_file as describe_file, draft as draft,
    keep_proposal as keep_proposal, with_phrases as with_phrases,
)
from .export import export_log as export_log
from .folder import (
    LogFiles as LogFiles, files_of as files_of, find_log as find_log, names_in as names_in,
    phrase_file as phrase_file, refuse_other_source as refuse_other_source,
    summaries as summaries,
)
from .followed import followed_in as followed_in
from .from_store import import_store as import_store
from .importing import import_log as import_log
from .likely import samples as samples
from .phrases import Phrase as Phrase, kept_phrases as kept_phrases
from .mapping import Column as Column
from .personal import Keeper as Keeper
