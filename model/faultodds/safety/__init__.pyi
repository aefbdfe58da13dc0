from .states import refuse_unsafe_state as refuse_unsafe_state
from .stops import stop_first as stop_first
