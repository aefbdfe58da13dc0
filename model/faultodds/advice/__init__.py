"""What pays next: the expected cost of the whole job for every check, repair and hand-over."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
