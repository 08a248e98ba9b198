"""How fast a part's own program is read, and with how much memory.
Run: python tests/benchmarks/program.py [MB]

Writes an invented program of so many megabytes (100) in a temporary folder and reads it once; times are
processor time of this process, memory is the largest it ever had beyond what it had before.
"""

from __future__ import annotations

import math
import random
import resource
import sys
import tempfile
import time
from pathlib import Path

from bedsim.program.laid import Settings
from bedsim.program.reading import read_program


def write(path: Path, size: float) -> None:
    """Layers of two walls in short segments, arcs, a zigzag and a hop, until they are `size` MB."""
    rng, layer = random.Random(1), 0
    with path.open("w", encoding="utf-8", newline="\n") as stream:
        stream.write("G21 G90\nM83\nG28\n")
        while stream.tell() < size * 1e6:
            layer += 1
            z = 0.2 * layer
            lines = [
                f";LAYER:{layer}",
                f"G1 Z{z + 0.4:.2f} F600",
                "G0 X60 Y60 F9000",
                f"G1 Z{z:.2f}",
                "M106 S127",
            ]
            for radius in (40.0, 39.55):
                steps = 2000
                lines.append(f"G0 X{100 + radius:.3f} Y100")
                for k in range(1, steps + 1):
                    a = 2 * math.pi * k / steps
                    lines.append(
                        f"G1 X{100 + radius * math.cos(a):.3f} Y{100 + radius * math.sin(a):.3f} "
                        f"E{0.005 + rng.random() * 1e-4:.5f}"
                    )
            lines += ["G3 X129.550 Y100 I-5 J0 E0.5", "G1 E-0.8 F2400", "G0 X80 Y80", "G1 E0.8"]
            for k in range(400):
                lines.append(f"G1 X{80 + 40 * (k % 2):.3f} Y{80 + 0.1 * k:.3f} E1.3305 F3600")
            stream.write("\n".join(lines) + "\n")


def main() -> None:
    """Write, read, tell."""
    size = float(sys.argv[1]) if len(sys.argv) > 1 else 100.0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "part.nc"
        write(path, size)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        start, wall = time.process_time(), time.perf_counter()
        laid = read_program(path, Settings(acceleration=1500.0, corner=8.0, width=0.45))
        took, waited = time.process_time() - start, time.perf_counter() - wall
        more = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    speed = f"{took:.1f} s, {size / took:.1f} MB/s; {waited:.1f} s on the clock"
    print(f"{size:g} MB, {laid.count} layers: {speed}")
    print(f"{before / 1024:.0f} MiB before, {more / 1024:.0f} MiB more while reading")


if __name__ == "__main__":
    main()
