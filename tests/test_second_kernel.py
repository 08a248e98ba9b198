"""Tests that promise bits, or compare to rounding, hold under a second matrix kernel."""

import os
import platform
import subprocess
import sys
from pathlib import Path

import pytest

# kernels that every processor of the kind can run, by OpenBLAS's own names
PLAIN = {
    "x86_64": ("Nehalem", "Prescott"),
    "AMD64": ("Nehalem", "Prescott"),
    "aarch64": ("ARMV8",),
    "arm64": ("ARMV8",),
}
KERNEL = (
    "from threadpoolctl import threadpool_info; import numpy; print(threadpool_info()[0]['architecture'])"
)


def under(kernel, *command):
    """What python prints with OpenBLAS's kernel as told."""
    environment = os.environ | {"OPENBLAS_CORETYPE": kernel}
    here = Path(__file__).parents[1]
    return subprocess.run(
        [sys.executable, *command], env=environment, cwd=here, capture_output=True, text=True
    )


def another_kernel():
    """A kernel that numpy does not use here by itself; skips where its library has no choice of kernels."""
    usual = subprocess.run([sys.executable, "-c", KERNEL], capture_output=True, text=True).stdout.strip()
    for kernel in PLAIN.get(platform.machine(), ()):
        found = under(kernel, "-c", KERNEL).stdout.strip()
        if found and found != usual:
            return kernel
    pytest.skip("numpy's matrix library has no second kernel here")


def marked():
    """The files that have such tests: the others need not be read."""
    found = Path(__file__).parent.rglob("test_*.py")
    return [str(path) for path in found if "mark.kernel" in path.read_text("utf-8")]


def test_bits_and_rounding_under_a_second_kernel():
    words = ("-m", "pytest", "-m", "kernel and not long", "-p", "no:cacheprovider")
    done = under(another_kernel(), *words, *marked())
    assert done.returncode == 0, done.stdout[-4000:]
    assert " passed" in done.stdout
