"""flocledger: polymer, pressure and cake of sludge dewatering, from plant exports to proof.

Import of this package is cheap; steps import their heavy libraries themselves.
"""

__version__ = "0.1.0"
