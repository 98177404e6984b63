"""pyAgrum (exact inference in discrete Bayesian networks), imported with its warnings let pass.

Its compiled part warns about its own types while it is loaded; where tests turn warnings into
errors that ends the interpreter, so the warning is let pass here, and only here.
"""

from __future__ import annotations

import warnings

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import pyagrum

__all__ = ["pyagrum"]
