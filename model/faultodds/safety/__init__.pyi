from .danger import denies as denies, hazard_of as hazard_of, hear as hear
from .duties import (
    Known as Known, LIKELY as LIKELY, at_once as at_once, known_after as known_after, let_out as let_out,
    not_run_now as not_run_now, not_run_with as not_run_with, still_holds as still_holds, still_owed as still_owed,
    watch_text as watch_text,
)
from .file_rules import refuse_unsafe_file as refuse_unsafe_file
from .rules import broken as broken, runs as runs, shut_off_for as shut_off_for
from .sequence import HANDS_OUT as HANDS_OUT, Line as Line, Move as Move, Part as Part
from .states import refuse_unsafe_state as refuse_unsafe_state
from .stops import danger_in as danger_in, stop_first as stop_first
