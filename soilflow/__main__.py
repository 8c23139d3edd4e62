"""The command ``soilflow``, also as ``python -m soilflow``: it answers while it loads."""

from __future__ import annotations

import sys

__all__ = ["main"]


def main() -> None:
    """Run the command line."""
    try:
        from soilflow.cli import main as start

        start()
    except KeyboardInterrupt:
        sys.stderr.write("interrupted\n")
        sys.exit(130)
    except MemoryError:
        sys.stderr.write("not enough memory to start; close other programs\n")
        sys.exit(3)


if __name__ == "__main__":
    main()
