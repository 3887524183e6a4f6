"""``python -m tensionear``: the same as the command ``tensionear``. Imports cli only."""

import sys

from tensionear.cli import main

if __name__ == "__main__":
    sys.exit(main())
