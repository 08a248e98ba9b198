"""Whether something holds every motion of a machine, unloaded and under its load."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bedsim.errors import ModelError

Array = NDArray[np.float64]

LOOSE = 1e-9  # a motion whose stiffness is below this share of the stiffest has nothing to hold it


def eigen(K: Array, M: Array) -> tuple[Array, Array]:
    """K v = square M v: squares (..., n) and vectors (..., n, n) in columns with v^T M v = 1."""
    inverse = np.linalg.inv(np.linalg.cholesky(M))
    back = np.swapaxes(inverse, -1, -2)
    square, vectors = np.linalg.eigh(inverse @ K @ back)
    return square, back @ vectors


def refuse_unstable(K: Array) -> None:
    """Raise ModelError if the loaded stiffness (l, n, n) is not positive definite."""
    try:
        np.linalg.cholesky(K)
    except np.linalg.LinAlgError:
        raise ModelError(
            "the loaded machine is unstable: the load overcomes the stiffness of a tilted joint"
        ) from None


def refuse_loose(K: Array, M: Array, names: list[str]) -> None:
    """Raise ModelError naming the loosest of the motions `names` if nothing holds one of them."""
    square, vectors = eigen(K, M)
    if square[0] > LOOSE * square[-1] * 1e-3 and square[0] > 0:
        return
    share = np.abs(vectors[:, 0]) * np.sqrt(np.diag(M))
    loosest = [names[k] for k in np.argsort(share)[::-1][:3]]
    raise ModelError(
        f"nothing holds this motion: {', '.join(loosest)}. "
        "Give the joint, mount or guide concerned a stiffness."
    )
