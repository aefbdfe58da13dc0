"""The whole plan: what to do for each finding, with chance, money and minutes."""

from faultodds.advice.plan.ahead import Ahead, mixed
from faultodds.advice.plan.plan_answers import plan_answer, what_if_answer
from faultodds.advice.plan.plan_words import (
    FINISHED_TODAY,
    cautions,
    everything,
    moves_words,
    short_percent,
    shown_by,
    step_words,
    whole_money,
)
from faultodds.advice.plan.tree import Branch, Plan, PlanStep, make_plan
