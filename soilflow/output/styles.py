"""How pictures look on a screen, on paper without colour, and on a wall."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from matplotlib.colors import Colormap

__all__ = ["PRINT", "SCREEN", "SLIDE", "STYLES", "Style"]


@dataclass(frozen=True, kw_only=True)
class Style:
    """A way to draw.

    Parameters
    ----------
    name : str
        What it is called.
    colours : str
        Colour map of fields, by its name in matplotlib.
    low, high : float
        Part of the colour map that is used. [-]
    dots : int
        Dots per inch of a saved picture.
    shrink : float
        Size of a figure over its usual size; text keeps its own, so that it grows on a slide. [-]
    """

    name: str
    colours: str
    low: float
    high: float
    dots: int
    shrink: float

    def colour_map(self) -> Colormap:
        """The colours of fields: dark is little, light is much.

        Returns
        -------
        colours : matplotlib.colors.Colormap
            Of luminance that rises all along.
        """
        from matplotlib import colormaps
        from matplotlib.colors import LinearSegmentedColormap

        steps = np.linspace(self.low, self.high, 256)
        return LinearSegmentedColormap.from_list(self.name, colormaps[self.colours](steps))


SCREEN = Style(name="screen", colours="cividis", low=0.0, high=1.0, dots=110, shrink=1.0)
PRINT = Style(name="print", colours="gray", low=0.30, high=0.96, dots=200, shrink=1.0)
SLIDE = Style(name="slide", colours="cividis", low=0.0, high=1.0, dots=180, shrink=0.72)
STYLES = {style.name: style for style in (SCREEN, PRINT, SLIDE)}
