"""The command line as a whole: what all commands hang on."""

from __future__ import annotations

import typer
from typer.core import TyperGroup

__all__ = ["app"]


class _InOrder(TyperGroup):
    """Commands in the order a newcomer needs them."""

    def list_commands(self, ctx: object) -> list[str]:
        """Names of the commands."""
        first = ["new", "check", "run", "compare", "search", "study"]
        return [*first, *sorted(set(self.commands) - set(first))]


app = typer.Typer(
    cls=_InOrder,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


@app.callback()
def _soilflow() -> None:
    """Soil gas under a slab: where the suction pits go, and how far to trust it.

    \b
    Examples:
      soilflow new house.toml --size "26 ft x 33 ft" --soil "packed silt"
      soilflow check house.toml --plan soil.png
      soilflow run house.toml
      soilflow run house.toml --layout "four at the walls" --json

    \b
    Exit codes: 0 done; 1 the case is wrong; 2 wrong command line;
    3 not converged, out of balance or out of memory;
    4 some members of a comparison or of an ensemble failed; 130 interrupted.
    """
