"""``python -m balancekit``: the same as the command ``balancekit``."""

import sys

from balancekit.cli import main

if __name__ == "__main__":
    sys.exit(main())
