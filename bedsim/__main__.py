"""`python -m bedsim`: the same as the command `bedsim`."""

import sys

from bedsim.cli.main import command_line

if __name__ == "__main__":
    sys.exit(command_line())
