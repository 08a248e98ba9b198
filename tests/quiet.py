"""A motor that stands where it is told to: for machines in which only something else is to be seen."""

QUIET = {f"place_error_{order}_deg": 0.0 for order in (1, 2, 3, 4)}
QUIET_TEXT = "".join(f"{key} = 0\n" for key in QUIET)
