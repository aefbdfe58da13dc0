"""Raw readings ("1.15k", "OL", "38 s per half foot") to likelihoods of outcomes; and the trade's sums."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
