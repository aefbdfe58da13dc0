"""What pays next: the expected cost of the whole job for every check, repair and hand-over."""

from faultodds.advice import words
from faultodds.advice.advisor import AS_GOOD_AS_FOUND, Action, Advice, NextMove, action, advise, best_move
from faultodds.advice.answers import evidence_list, next_answer, odds_answer, read_answer, shop_used
from faultodds.advice.ledger import Ledger
from faultodds.advice.machine import CLOSED_UP, MachineStates, State, Way
from faultodds.advice.policy import CHECK, NOTHING_TOLD, REFER, REPAIR, RUN, Bools, Choice, Move, Policy
from faultodds.advice.problem import HOPELESS, SOUND, Problem, Situation
from faultodds.advice.ranking import BIT_PRICES, MANY_BIT_PRICES, STAGES, CheckPrice
from faultodds.advice.rollout import DEPTH, Front, Rollout
from faultodds.advice.stopping import even_points
from faultodds.advice.words import money, percent
