"""Pages at the end of a job: one for the customer, one for the shop, and the manager's month."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
