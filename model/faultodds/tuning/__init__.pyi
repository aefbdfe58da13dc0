from .fitting import Learned as Learned, fit as fit
from .from_log import changed_since as changed_since, learn as learn, outdated as outdated, part_of_log as part_of_log
from .groups import (
    NOT_KNOWN as NOT_KNOWN, Groups as Groups, log_labels as log_labels, repair_groups as repair_groups,
    repairs_that_held as repairs_that_held,
)
from .learned_words import (
    ENOUGH as ENOUGH, Item as Item, KIND_TITLES as KIND_TITLES, items as items, movers as movers, of_kind as of_kind,
    percent as percent,
    sentence as sentence, shown as shown, span as span,
)
from .shop_numbers import shop_numbers as shop_numbers, shop_text as shop_text
from .settings import AUTO as AUTO, KINDS as KINDS, Settings as Settings
