"""Further fans: each with its own pipes, on the points that name it."""

from __future__ import annotations

from dataclasses import dataclass

from soilflow.errors import InputError
from soilflow.layout.fan import Fan
from soilflow.layout.pipes import PipeTree
from soilflow.units import check_fields

__all__ = ["CHOSEN", "FIRST", "FanSet", "pipe_label"]

# What is added is a choice where nobody says otherwise: nothing about it was found or measured.
CHOSEN = "chosen"
FIRST = "first"  # what the layout's own fan is called where there are several


@dataclass(frozen=True, kw_only=True)
class FanSet:
    """A fan and its pipe tree.

    Parameters
    ----------
    name : str
        What its suction points call it.
    fan : Fan
        The fan.
    pipes : PipeTree or None
        The pipe from its pits to its own discharge; None for no losses.
    source : str
        Where it comes from.
    """

    name: str
    fan: Fan
    pipes: PipeTree | None = None
    source: str = CHOSEN

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.name.strip() or self.name == FIRST:
            raise InputError(
                f'"{self.name}" cannot name a further fan; any other word will do', field="name"
            )


def pipe_label(fan: str, pipe: str) -> str:
    """What results call a pipe: pipes of a further fan have the fan's name in front.

    Parameters
    ----------
    fan : str
        Name of the fan; "first" for the layout's own.
    pipe : str
        Name of the pipe.

    Returns
    -------
    label : str
        Unique over all fans of a layout.
    """
    return pipe if fan == FIRST else f"{fan}: {pipe}"
