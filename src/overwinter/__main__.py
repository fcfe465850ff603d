"""`python -m overwinter` is the command `overwinter`."""

import sys

from overwinter.cli import main

if __name__ == "__main__":
    sys.exit(main())
