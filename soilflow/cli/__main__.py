"""``python -m soilflow.cli`` is the command ``soilflow``."""

from soilflow.cli import main

__all__: list[str] = []

if __name__ == "__main__":
    main()
