"""How good a person's own odds were: what was said, proper scores of it, and what they come to over many drills."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
