"""Stop signs: looked for before anything is loaded or computed."""

from faultodds.safety.stops import stop_first
