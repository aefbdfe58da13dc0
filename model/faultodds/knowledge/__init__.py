"""Knowledge files: their records, loading and rules, their tables, numbers laid over them, the pgmpy network."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
