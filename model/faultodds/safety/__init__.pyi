from .answers import (
    admits as admits, denies as denies, has_no_alarm as has_no_alarm, no_alarm_works as no_alarm_works,
    may_answer as may_answer, only_denies as only_denies, speaks_of_danger as speaks_of_danger,
)
from .danger import (
    as_heard as as_heard, has_to_be_mended as has_to_be_mended, hazard_of as hazard_of, hear as hear, hear_now as hear_now,
    put_right as put_right, told_over as told_over, usual_steps as usual_steps,
)
from .duties import (
    CAUSE_LEFT as CAUSE_LEFT, DOUBTFUL as DOUBTFUL, LIKELY as LIKELY, Known as Known, at_once as at_once,
    barred as barred, known_after as known_after, let_out as let_out, not_lit_with as not_lit_with,
    run_attended as run_attended,
    not_run_now as not_run_now, not_run_with as not_run_with, said as said, taken as taken,
    still_holds as still_holds, watch_text as watch_text,
)
from .owed import (
    Unmended as Unmended, run_shows_only as run_shows_only, shown_by_a_run_only as shown_by_a_run_only,
    still_owed as still_owed, unmended as unmended,
)
from .file_rules import refuse_unsafe_file as refuse_unsafe_file
from .rules import (
    broken as broken, heats as heats, runs as runs, said_each_time as said_each_time, shut_off_for as shut_off_for,
)
from .sequence import HANDS_OUT as HANDS_OUT, Line as Line, Move as Move, Part as Part
from .states import made_safe as made_safe, refuse_unsafe_state as refuse_unsafe_state, safety_items as safety_items
from .stops import (
    danger_in as danger_in, dangers_in as dangers_in, stop_first as stop_first, stop_text as stop_text, together as together,
)
