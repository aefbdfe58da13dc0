from .danger import STOP_PPM as STOP_PPM, Heard as Heard, denies as denies, hazard_of as hazard_of, hear as hear
from .stops import danger_in as danger_in, stop_first as stop_first
