from .person import (
    FEWEST as FEWEST, Drilled as Drilled, Person as Person, favourite as favourite, person as person, sure_curve as sure_curve,
    too_sure as too_sure,
)
from .said import reads_as_odds as reads_as_odds, said as said
from .scores import (
    MOST as MOST, NAMED as NAMED, bounded as bounded, brier as brier, log_loss as log_loss, rest as rest,
    spread as spread,
)
from .truth import began as began, faults as faults, leading as leading
