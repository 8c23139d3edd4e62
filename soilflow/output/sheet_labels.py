"""Names on a plan, each set where it covers neither a mark nor another name."""

from __future__ import annotations

from markupsafe import Markup, escape

__all__ = ["Labels"]

# Width of a letter over its height, on average, in a wide serif face.
_LETTER, _BOLD = 0.6, 0.68

Box = tuple[float, float, float, float]  # west, south, east, north [m]


class Labels:
    """Texts of a drawing with y up, and what is taken already.

    Parameters
    ----------
    letter_height : float
        Of the usual text. [m]
    """

    def __init__(self, letter_height: float) -> None:
        self.size = letter_height
        self.drawn: list[Markup] = []
        self._taken: list[Box] = []

    def keep_clear(self, west: float, south: float, east: float, north: float) -> None:
        """Let no name stand here.

        Parameters
        ----------
        west, south, east, north : float
            Edges of the place. [m]
        """
        self._taken.append((west, south, east, north))

    def beside(
        self,
        x: float,
        y: float,
        clear: float,
        text: str,
        *,
        inward: tuple[float, float],
        bold: bool,
    ) -> None:
        """Write a name beside a mark, towards the middle of the floor if there is room.

        Parameters
        ----------
        x, y : float
            Middle of the mark. [m]
        clear : float
            Distance from it to where the text begins. [m]
        text : str
            The name.
        inward : tuple of (float, float)
            Direction to the middle of the floor, one sign along each axis. [-]
        bold : bool
            Whether it is the name of a pit.
        """
        size = self.size * (1.1 if bold else 0.95)
        wide = (_BOLD if bold else _LETTER) * size * len(text)
        away = clear + 0.25 * size
        h, v = inward
        tries = [
            (x + s * (away + 0.5 * wide), y + t * size)
            for t in (0.0, 0.9 * v, -0.9 * v)
            for s in (h, -h)
        ]
        tries += [(x, y + t * (away + 0.5 * size)) for t in (v, -v)]
        boxes = [self._box(a, b, wide, size) for a, b in tries]
        free = next((i for i, box in enumerate(boxes) if self._is_free(box)), 0)
        self._write(*tries[free], text, size, boxes[free], bold=bold)

    def at(
        self,
        x: float,
        y: float,
        text: str,
        *,
        enlarged: float = 1.0,
        bold: bool = False,
        upright: bool = False,
        kind: str = "name",
    ) -> None:
        """Write a text with its middle at a place, whatever is there.

        Parameters
        ----------
        x, y : float
            The place. [m]
        text : str
            The text.
        enlarged : float
            Its height over the usual. [-]
        bold : bool
            Whether it is heavy.
        upright : bool
            Whether it runs up the sheet, as along a wall.
        kind : str
            Class of the text.
        """
        size = enlarged * self.size
        wide = _LETTER * size * len(text)
        box = self._box(x, y, size, wide) if upright else self._box(x, y, wide, size)
        self._write(x, y, text, size, box, bold=bold, upright=upright, kind=kind)

    def _write(
        self,
        x: float,
        y: float,
        text: str,
        size: float,
        box: Box,
        *,
        bold: bool,
        upright: bool = False,
        kind: str = "name",
    ) -> None:
        self._taken.append(box)
        more = Markup(" font-weight='bold'") if bold else Markup("")
        if upright:
            more += Markup(" transform='rotate(-90 {:.3f} {:.3f})'").format(x, -y)
        self.drawn.append(
            Markup(
                "<text x='{:.3f}' y='{:.3f}' style='--high:{:.3f}px' text-anchor='middle'{} "
                "dy='.35em' class='{}'>{}</text>"
            ).format(x, -y, size, more, kind, escape(text))
        )

    @staticmethod
    def _box(x: float, y: float, wide: float, high: float) -> Box:
        return x - 0.5 * wide, y - 0.5 * high, x + 0.5 * wide, y + 0.5 * high

    def _is_free(self, box: Box) -> bool:
        west, south, east, north = box
        return all(east < a or c < west or north < b or d < south for a, b, c, d in self._taken)
