"""Job logs in and out: a shop's own table becomes a clean log that learning and audits read."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
