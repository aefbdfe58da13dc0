from .fitting import Learned as Learned, fit as fit
from .from_log import learn as learn
from .learned_words import (
    ENOUGH as ENOUGH, Item as Item, KIND_TITLES as KIND_TITLES, items as items, movers as movers, of_kind as of_kind,
    sentence as sentence, shown as shown, span as span,
)
from .settings import AUTO as AUTO, KINDS as KINDS, Settings as Settings
