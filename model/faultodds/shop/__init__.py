"""A shop's own prices, minutes and people, laid over an appliance."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
