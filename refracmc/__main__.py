"""`python -m refracmc`."""

import sys

from refracmc.cli import main

if __name__ == "__main__":
    sys.exit(main())
