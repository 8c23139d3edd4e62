"""Line conductors as lists: the cells they fill, the faces near them, the columns they reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["LineConductors"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class LineConductors:
    """Lines of one pressure each, the soil cells they fill, and the faces near them.

    Parameters
    ----------
    names : tuple of str
        The lines.
    port : array of int, shape (n,)
        Port of each line, -1 for one that ends blind.
    line, cell : array of int, shape (m,)
        Line and flat cell index of each cell filled.
    geometry : array, shape (m,)
        Conductance from line to cell times viscosity. [m3]
    face_axis, face_cell : array of int, shape (f,)
        Axis across a face near a line, and flat index of the cell on its low side.
    face_factor : array, shape (f,)
        What the face passes over what it would without the line. [-]
    opened : array of int, shape (nx, ny)
        Line into which slab, slots and gap over a column open straight, -1 for none.
    """

    names: tuple[str, ...]
    port: Index
    line: Index
    cell: Index
    geometry: Array
    face_axis: Index
    face_cell: Index
    face_factor: Array
    opened: Index

    def over(self, of_line: Index) -> Index:
        """What each line brings to the columns it fills up to the slab.

        Parameters
        ----------
        of_line : array of int, shape (n,)
            A node or port for each line.

        Returns
        -------
        of_column : array of int, shape (nx, ny)
            The same by column, -1 where no line fills it.
        """
        return np.append(of_line, -1)[self.opened]

    def factor_along(self, axis: int, shape: tuple[int, int, int]) -> Array:
        """Factors of all faces across an axis.

        Parameters
        ----------
        axis : int
            0, 1, 2 for x, y, z.
        shape : tuple of int
            Shape of the grid.

        Returns
        -------
        factor : array, shape of the grid less its last layer along the axis, or (1, 1, 1)
            What each inner face passes over what it would without the lines. [-]
        """
        mine = self.face_axis == axis
        if not mine.any():
            return np.ones((1, 1, 1))
        factor = np.ones(shape)
        factor.ravel()[self.face_cell[mine]] = self.face_factor[mine]
        return np.take(factor, np.arange(shape[axis] - 1), axis=axis)
