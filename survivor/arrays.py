"""Types of the arrays that models and curves pass on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]
Days = NDArray[np.datetime64]
