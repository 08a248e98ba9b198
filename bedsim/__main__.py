"""`python -m bedsim`: the same as the command `bedsim`."""

import sys

from bedsim.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
