"""How many threads numerical libraries may use; they read it when they are imported."""

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
"""Environment for one thread: our matrices are small, and several threads only get into each other's way."""
