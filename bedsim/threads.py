"""How a process of ours is set for numerical work: threads and memory."""

import contextlib

ONE_EACH = dict.fromkeys(
    (
        "OMP_NUM_THREADS",
        "OPENBLAS_NUM_THREADS",
        "MKL_NUM_THREADS",
        "VECLIB_MAXIMUM_THREADS",
        "NUMEXPR_NUM_THREADS",
    ),
    "1",
)
"""Environment for one thread: our matrices are small, and several threads only get into each other's way.
Numerical libraries read it when they are imported."""

_TRIM, _MAP = -1, -3  # mallopt's numbers of M_TRIM_THRESHOLD and M_MMAP_THRESHOLD, malloc.h
_KEPT, _SMALLER = 256 * 2**20, 64 * 2**20  # bytes that are free, and in a piece


def keep_freed_memory() -> None:
    """Keep freed memory for the next array, where the C library lets itself be told so (glibc).

    By default an array of 128 KiB or more is handed back to the system when it is freed, and the next one
    comes page by page, each with a fault: an eighth of the time of a machine without friction of 1,500
    layers, at 700 faults each.
    """
    with contextlib.suppress(ImportError, OSError, AttributeError, TypeError):
        import ctypes

        library = ctypes.CDLL(None)
        library.mallopt(_TRIM, _KEPT)
        library.mallopt(_MAP, _SMALLER)
