"""The whole plan: what to do for each finding, with chance, money and minutes."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
