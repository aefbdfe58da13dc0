from .stops import stop_first as stop_first
