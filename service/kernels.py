"""How a function becomes machine code, and how its records lie in memory: for the pure rooms.

Importing this loads numba, which takes most of a second; only the modules named ``*_kernel.py``
import it, and they are imported when something is first computed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast, get_type_hints

import numba
import numpy as np
from numpy.typing import NDArray

Function = TypeVar("Function", bound=Callable[..., object])
Records = NDArray[np.void]


def compiled(function: Function) -> Function:
    """The same function as machine code, kept on disk and free of the interpreter's lock."""
    return cast("Function", numba.njit(cache=True, nogil=True)(function))


def record_layout(row: type) -> np.dtype[np.void]:
    """NumPy record layout with the fields of an annotated class, float64 and int64."""
    hints: dict[str, Any] = get_type_hints(row)
    return np.dtype(
        [(name, np.float64 if kind is float else np.int64) for name, kind in hints.items()]
    )
