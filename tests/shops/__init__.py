"""Invented shops that write job logs, each with its own truth (see kinds.py)."""
