"""Exact plans and the literature's short rules: oracles for the tests and benchmarks, and for teaching."""
