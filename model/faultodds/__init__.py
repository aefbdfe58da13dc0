"""faultodds: fault odds, and the next check that pays, for people who repair household appliances."""

__version__ = "0.1.0"
