"""Exact plans and the literature's short rules: oracles for the tests and benchmarks, and for teaching."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
