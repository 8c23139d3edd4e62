"""Edges of a network under construction, gathered part by part."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["EdgeLists"]

Array = NDArray[np.float64]
Index = NDArray[np.int64]


class EdgeLists:
    """Edge and port-edge lists under construction."""

    def __init__(self) -> None:
        self.i: list[Index] = []
        self.j: list[Index] = []
        self.t: list[Array] = []
        self.inner_slot: list[Index] = []
        self.node: list[Index] = []
        self.port: list[Index] = []
        self.g: list[Array] = []
        self.slot: list[Index] = []
        self.area: list[Index] = []

    def between(self, i: Index, j: Index, t: Array, slot: Index | None = None) -> None:
        """Add edges between nodes, but for those that conduct nothing.

        Parameters
        ----------
        i, j : array of int, shape (n,)
            Nodes at the two ends.
        t : array, shape (n,)
            Conductances. [m3/(s Pa)]
        slot : array of int, shape (n,), or None
            Slot each belongs to; None for none.
        """
        use = t > 0.0
        self.inner_slot.append((np.full(i.shape, -1) if slot is None else slot)[use])
        self.i.append(i[use])
        self.j.append(j[use])
        self.t.append(t[use])

    def to_port(
        self,
        node: Index,
        port: Index,
        g: Array,
        slot: Index | None = None,
        area: Index | None = None,
    ) -> None:
        """Add edges from nodes to ports, but for those that conduct nothing.

        Parameters
        ----------
        node, port : array of int, shape (n,)
            Node and port of each.
        g : array, shape (n,)
            Conductances. [m3/(s Pa)]
        slot, area : array of int, shape (n,), or None
            Slot and area leak each belongs to; None for none.
        """
        use = g > 0.0
        for kept, number in ((self.slot, slot), (self.area, area)):
            kept.append((np.full(node.shape, -1) if number is None else number)[use])
        self.node.append(node[use])
        self.port.append(np.broadcast_to(port, node.shape)[use])
        self.g.append(g[use])
