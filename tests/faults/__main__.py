"""Brings odd inputs to every door, or kills commands at their work, as many as asked for. Run by hand:

python tests/faults --count 20000 --seed 1
python tests/faults --kills 500
"""

from __future__ import annotations

import argparse
import random
import resource
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import doors
import kills

LONGEST, WAITING = 20, 600  # s of a visit: of its own time, and with what others on the machine take
MEMORY = 1 << 20  # KiB of the largest process


def main() -> int:
    """Print how many visits each door had, or kills each command, and every fault; 1 where there is one."""
    parser = argparse.ArgumentParser(prog="python tests/faults", description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    names = [*doors.DOORS, *kills.VICTIMS, kills.ON_CLUSTER]
    parser.add_argument("--doors", nargs="*", default=(), choices=names)
    options = parser.parse_args()
    work = _kills if options.kills else _visits
    with tempfile.TemporaryDirectory() as folder:
        count, faults, slowest = work(Path(folder), options)
    print(", ".join(f"{name} {n}" for name, n in sorted(count.items())))
    if _largest() > MEMORY:
        faults.append(f"a process of {_largest() >> 10} MiB")
    print(f"{_state(count, faults)}; slowest {slowest}")
    print("\n".join(faults))
    return int(bool(faults))


def _state(count: Counter[str], faults: list[str]) -> str:
    return f"{count.total()} in all, {len(faults)} faults; largest process {_largest() >> 10} MiB"


def _largest() -> int:
    """Memory of the largest process so far, KiB."""
    whose = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return max(resource.getrusage(who).ru_maxrss for who in whose)


def _visits(folder: Path, options: argparse.Namespace) -> tuple[Counter[str], list[str], str]:
    for number in (signal.SIGALRM, signal.SIGPROF):
        signal.signal(number, _too_long)
    count, faults, slowest = Counter(), [], (0.0, "")
    found = doors.visits(folder, random.Random(options.seed), options.count, options.doors)
    begin = time.process_time()
    for visit in found:
        signal.setitimer(signal.ITIMER_PROF, LONGEST)
        signal.alarm(WAITING)
        if count:  # the first makes the house
            slowest = max(slowest, (time.process_time() - begin, visit.door))
        begin = time.process_time()
        count[visit.door] += 1
        if count.total() % 500 == 0:
            print(_state(count, faults), flush=True)
        if visit.fault:
            kept = Path(tempfile.mkdtemp(prefix="bedsim-fault-")) / visit.door.replace(" ", "-")
            kept.write_bytes(visit.brought)
            faults.append(f"{visit.door}: {visit.fault}: {visit.said.strip()[-300:]} [{kept}]")
            print(faults[-1], flush=True)
    signal.setitimer(signal.ITIMER_PROF, 0)
    signal.alarm(0)
    return count, faults, f"{slowest[0]:.1f} s ({slowest[1]})"


def _kills(folder: Path, options: argparse.Namespace) -> tuple[Counter[str], list[str], str]:
    count, faults, slowest = Counter(), [], (0.0, "")
    rng = random.Random(options.seed)
    for kill in kills.kills(folder, rng, options.kills, options.doors):
        count[f"{kill.victim} {kill.signal}"] += 1
        if count.total() % 10 == 0:
            print(_state(count, faults), flush=True)
        slowest = max(slowest, (kill.seconds, kill.victim))
        if kill.fault:
            faults.append(f"{kill.victim} {kill.signal} after {kill.after:.2f} s: {kill.fault}")
            print(faults[-1], flush=True)
    return count, faults, f"{slowest[0]:.1f} s ({slowest[1]}) from signal to end"


def _too_long(*_: object) -> None:
    raise TimeoutError(f"a visit took more than {LONGEST} s at {time.ctime()}")


if __name__ == "__main__":
    sys.exit(main())
