from .danger import (
    begins_with_no as begins_with_no, denies as denies, has_no_alarm as has_no_alarm, hazard_of as hazard_of,
    only_denies as only_denies,
)
from .duties import let_out as let_out, not_run_now as not_run_now, still_holds as still_holds, still_owed as still_owed
from .file_rules import refuse_unsafe_file as refuse_unsafe_file
from .rules import broken as broken
from .sequence import HANDS_OUT as HANDS_OUT, Line as Line, Move as Move, Part as Part
from .states import refuse_unsafe_state as refuse_unsafe_state
from .stops import danger_in as danger_in, stop_first as stop_first
