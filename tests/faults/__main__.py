"""Brings odd inputs to every door, as many as asked for. Run by hand:

python tests/faults --count 20000 --seed 1
"""

from __future__ import annotations

import argparse
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import doors
from rich.progress import track

LONGEST = 20  # s of a visit


def main() -> int:
    """Print how many visits each door had and every fault; 1 where there is one."""
    parser = argparse.ArgumentParser(prog="python tests/faults", description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    signal.signal(signal.SIGALRM, _too_long)
    count, faults = Counter(), []
    with tempfile.TemporaryDirectory() as folder:
        found = doors.visits(Path(folder), random.Random(options.seed), options.count)
        for visit in track(found, total=options.count, description="visits"):
            signal.alarm(LONGEST)
            count[visit.door] += 1
            if visit.fault:
                kept = Path(tempfile.mkdtemp(prefix="bedsim-fault-")) / visit.door
                kept.write_bytes(visit.brought)
                faults.append(f"{visit.door}: {visit.fault}: {visit.said.strip()[-300:]} [{kept}]")
    print(", ".join(f"{door} {n}" for door, n in count.items()), f"; faults: {len(faults)}")
    print("\n".join(faults))
    return int(bool(faults))


def _too_long(*_: object) -> None:
    raise TimeoutError(f"a visit took more than {LONGEST} s at {time.ctime()}")


if __name__ == "__main__":
    sys.exit(main())
