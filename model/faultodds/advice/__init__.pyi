from .advisor import Advice as Advice, NextMove as NextMove, advise as advise, best_move as best_move
from .answers import (
    evidence_list as evidence_list, next_answer as next_answer, not_told as not_told, odds_answer as odds_answer,
    read_answer as read_answer, shop_used as shop_used,
)
from .doing import (
    Action as Action, action as action, actions as actions, closing_lines as closing_lines,
    left_off as left_off,
    instructions as instructions, unsafe_ways as unsafe_ways,
)
from .classes import SOUND as SOUND
from .ledger import CHECK as CHECK, Ledger as Ledger, REFER as REFER, REPAIR as REPAIR
from .machine import CLOSED_UP as CLOSED_UP, MachineStates as MachineStates, State as State, Way as Way
from .policy import Policy as Policy
from .problem import AS_GOOD_AS_FOUND as AS_GOOD_AS_FOUND, Problem as Problem
from .questions import (
    Question as Question, QuestionPrice as QuestionPrice, answer_likelihood as answer_likelihood,
    answered as answered, best_questions as best_questions, open_questions as open_questions,
    question_of as question_of,
)
from .ranking import (
    BIT_PRICES as BIT_PRICES, CheckPrice as CheckPrice,
    RepairPrice as RepairPrice, STAGES as STAGES,
)
from .rollout import DEPTH as DEPTH, MONEY as MONEY, Rollout as Rollout
from .situation import (
    Situation as Situation, gone_unmended as gone_unmended, may_be as may_be,
    not_looked_at_again as not_looked_at_again, not_looked_for as not_looked_for, run_forbidden as run_forbidden,
)
from .stopping import even_points as even_points
from . import words as words
from .words import money as money, percent as percent, percents as percents
