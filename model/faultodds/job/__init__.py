"""One service call: what is typed, its steps, the store, how it stands, and why."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
