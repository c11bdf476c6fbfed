"""``python -m balancekit``: the same as the command ``balancekit``."""

import sys

from balancekit.cli import main

if __name__ == "__main__":
    try:
        code = main()
    except ModuleNotFoundError as error:
        if (error.name or "balancekit").startswith("balancekit"):
            raise
        sys.exit(
            f"This Python has no {error.name}. Run python3 start.py once, then use the Python in "
            "its folder .venv: .venv/bin/python, on Windows .venv\\Scripts\\python."
        )
    sys.exit(code)
