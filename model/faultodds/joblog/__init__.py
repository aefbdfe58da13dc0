"""Job logs in and out: a shop's own table becomes a clean log that learning and audits read."""
