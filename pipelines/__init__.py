"""flocledger: polymer, pressure and cake of sludge dewatering, from plant exports to proof.

Import of this package is cheap; steps import their heavy libraries themselves.
"""

import os

__version__ = "0.1.0"

# Matrices here are small: a second thread of the linear algebra spins more than it computes (ten times the CPU on a busy machine). Read when numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
