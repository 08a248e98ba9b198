"""What all tests share: one thread per process, so that test processes side by side do not fight for
cores."""

import os

from bedsim.threads import ONE_EACH

for name, count in ONE_EACH.items():
    os.environ.setdefault(name, count)
os.environ.setdefault("MPLBACKEND", "Agg")
