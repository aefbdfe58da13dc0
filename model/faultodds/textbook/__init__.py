"""The literature's short rules for one fault at a time: for teaching, and for the tests."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
