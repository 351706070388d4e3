"""Array types of the battery models, and the checks every array passes on its way in."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.core.errors import BadValueError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def first_bad(bad: BoolArray, values: NDArray[Any], field: str, rule: str) -> None:
    """Refuse the first value marked in `bad` (same shape as `values`), naming field, row and value.

    Raises BadValueError.
    """
    if not bad.any():
        return
    row = int(np.flatnonzero(bad)[0])
    message = f"{field}[{row}] is {values.ravel()[row]}; {rule}."
    raise BadValueError(message, field=field)


def column(values: ArrayLike, field: str) -> FloatArray:
    """Return `values` as a one-dimensional float array. Raises BadValueError for any other shape or kind."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        message = f"{field} must be numbers: {error}."
        raise BadValueError(message, field=field) from error
    if array.ndim != 1:
        message = f"{field} has {array.ndim} dimensions; give one number per row."
        raise BadValueError(message, field=field)
    return array


def measured_column(values: ArrayLike, field: str) -> FloatArray:
    """Return `values` as a float column in which each number is finite and not negative (BadValueError otherwise)."""
    array = column(values, field)
    first_bad(~(np.isfinite(array) & (array >= 0)), array, field, "it must be a finite number, zero or more")
    return array


def mask(values: ArrayLike, field: str) -> BoolArray:
    """Return `values` as a one-dimensional array of true and false. Raises BadValueError for anything else."""
    array = np.asarray(values)
    if array.ndim != 1 or (array.size and array.dtype != np.bool_):
        message = f"{field} must be one true or false per row."
        raise BadValueError(message, field=field)
    return array.astype(np.bool_)


def indices(values: ArrayLike, field: str, *, below: int) -> IntArray:
    """Return `values` as whole numbers from 0 to `below` - 1. Raises BadValueError naming the first that is not."""
    array = np.asarray(values)
    if array.ndim != 1 or (array.size and not np.issubdtype(array.dtype, np.integer)):
        message = f"{field} must be one whole number per row."
        raise BadValueError(message, field=field)
    whole = array.astype(np.int64)
    first_bad((whole < 0) | (whole >= below), whole, field, f"it must lie from 0 to {below - 1}")
    return whole


def same_length(**columns: NDArray[Any]) -> None:
    """Refuse columns of unequal length. Raises BadValueError naming the first that differs from the first given."""
    lengths = {name: len(values) for name, values in columns.items()}
    first, expected = next(iter(lengths.items()))
    for name, length in lengths.items():
        if length != expected:
            message = f"{name} has {length} rows and {first} has {expected}; both need the same."
            raise BadValueError(message, field=name)
