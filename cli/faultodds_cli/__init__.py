"""Command line of faultodds.

One thread for linear algebra: the products here are small, and starting or waiting for more threads takes longer than the
products themselves (on a busy two-core machine 30 ms against 1 ms). Set before anything loads numpy.
"""

import os

for _variable in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")
