"""Before the visit: which parts to carry, and the chance of finishing in one visit."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
