"""Learning from a shop's own jobs: chances, how sure they are, and practice logs drawn from them."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
