"""The two arrays, and from findings to fault odds by short arithmetic on them."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
