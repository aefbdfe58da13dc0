from .account import (
    Account as Account, Change as Change, Chapter as Chapter, Weight as Weight, account as account, changes as changes,
    chapters as chapters, leading as leading,
)
from .card import Card as Card, card as card, cautions as cautions
from .chain import Link as Link, chain as chain, told as told
from .naming import faults_meant as faults_meant, faults_named as faults_named, mended_by as mended_by, two_named as two_named
from .shown import Calls as Calls, Parting as Parting, Shown as Shown
from . import words as words
