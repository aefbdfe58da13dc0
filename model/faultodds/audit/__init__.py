"""Would it have helped? A log played forward, beside general methods; and the scikit-learn estimator."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
