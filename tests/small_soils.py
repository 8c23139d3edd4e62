"""Small pieces of soil; the benchmarks set up the same ones."""

from problems.soils import (
    MU,
    Answer,
    beyond,
    even_edges,
    growing_edges,
    layer,
    plane_grid,
    slab_body,
    solve_soil,
    split_times,
)

__all__ = [
    "MU",
    "Answer",
    "beyond",
    "even_edges",
    "growing_edges",
    "layer",
    "plane_grid",
    "slab_body",
    "solve_soil",
    "split_times",
]
