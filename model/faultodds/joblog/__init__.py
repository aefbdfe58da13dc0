"""Job logs in and out: a shop's own table becomes a clean log that learning and audits read."""

from faultodds.joblog import clean
from faultodds.joblog.clean import (
    BACK_AFTER,
    CAME_BACK,
    DAY,
    ENDED,
    FACT,
    FAILED,
    FOLLOWED,
    FOUND,
    GONE,
    JOB,
    REPAIRS,
    read_clean,
    validate,
    weights,
)
from faultodds.joblog.cleaning_report import CleaningReport, lines
from faultodds.joblog.describe import ColumnSeen, Description
from faultodds.joblog.drafts import Draft, Options, already_clean, describe_file, draft, keep_proposal
from faultodds.joblog.export import export_log
from faultodds.joblog.folder import LogFiles, files_of, find_log, refuse_other_source, summaries
from faultodds.joblog.from_store import import_store
from faultodds.joblog.importing import import_log
from faultodds.joblog.likely import samples
from faultodds.joblog.mapping import Column
from faultodds.joblog.personal import masked
