"""Learning from a shop's own jobs: chances, how sure they are, and practice logs drawn from them."""

from faultodds.tuning.fitting import fit
from faultodds.tuning.from_log import learn
from faultodds.tuning.learned_words import ENOUGH, KIND_TITLES, Item, items, movers, of_kind, sentence, shown, span
from faultodds.tuning.likelihood import Silence
from faultodds.tuning.settings import AUTO, CEILING, KINDS, Settings
