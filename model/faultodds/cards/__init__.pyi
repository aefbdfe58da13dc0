from .account import (
    Account as Account, Chapter as Chapter, account as account, changes as changes,
    chapters as chapters, leading as leading,
)
from .card import Card as Card, card as card, cautions as cautions
from .chain import chain as chain, told as told
from .naming import (
    apart as apart, faults_meant as faults_meant, faults_named as faults_named, is_none as is_none,
    mended_by as mended_by, mode_called as mode_called, sides_named as sides_named, two_named as two_named,
)
from .shown import Calls as Calls, Shown as Shown
from . import words as words
