"""The array types of this room."""

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]
# Channels as they are stored are float32, what is made from them float64.
FloatArray: TypeAlias = NDArray[np.float64] | NDArray[np.float32]
