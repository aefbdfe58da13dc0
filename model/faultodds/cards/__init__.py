"""What there is to know of one fault: its card, what looks like it, what parts two faults, and how odds came about in words."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
