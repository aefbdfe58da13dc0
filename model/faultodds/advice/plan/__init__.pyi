from .ahead import Ahead as Ahead, mixed as mixed
from .plan_answers import plan_answer as plan_answer, what_if_answer as what_if_answer
from .plan_words import (
    FINISHED_TODAY as FINISHED_TODAY, answers as answers, branch_percent as branch_percent, cautions as cautions,
    everything as everything,
    moves_words as moves_words, short_percent as short_percent,
    step_words as step_words, whole_money as whole_money,
)
from .tree import Branch as Branch, Hint as Hint, Plan as Plan, PlanStep as PlanStep, make_plan as make_plan
