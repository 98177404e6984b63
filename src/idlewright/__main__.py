"""`python -m idlewright` is the same as `idlewright`."""

import sys

from idlewright.cli.entry import main

if __name__ == "__main__":
    sys.exit(main())
