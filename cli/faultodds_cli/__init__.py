"""Command line of faultodds."""
