"""Layers in series and side by side, on any mesh with faces on the interfaces.

L / sum(d / k) across and sum(d k) / L along: 0.3, 0.5 and 0.2 m of 1e-11, 1e-12 and 5e-12 m2
make 1.754386e-12 and 4.5e-12 m2, computed twice. Harmonic means at faces give both to
rounding: 1e-10.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from problems.layered_soil import ENDS, LAYERS, flat, flow_through, upright
from small_soils import MU

ACROSS, ALONG = 1.754386e-12, 4.5e-12


# ends of cells inside each layer, as shares of its thickness; none may come too close
INNER = st.lists(st.floats(0.02, 0.98), min_size=0, max_size=4)
MESH = st.tuples(INNER, INNER, INNER)


def edges_of(mesh):
    """Lines on the interfaces and some more between them, a millimetre or more apart."""
    lines = {float(end) for end in ENDS}
    for shares, low, high in zip(mesh, ENDS[:-1], ENDS[1:], strict=True):
        lines |= {round(low + s * (high - low), 3) for s in shares}
    found = np.array(sorted(lines))
    return found[np.append(True, np.diff(found) > 1e-9)]


SMALL = settings(max_examples=25, deadline=None, derandomize=True)


@SMALL
@given(mesh=MESH, axis=st.sampled_from([0, 1]), other=st.floats(0.1, 0.9))
def test_layers_across_on_any_mesh(mesh, axis, other):
    edges = [[0.0, other, 1.0]] * 3
    edges[axis] = edges_of(mesh)
    flow = flow_through(upright(axis), edges, axis)
    exact = 1.0 / sum(d / k for d, k in LAYERS)
    assert_allclose(flow * MU, exact, rtol=1e-10)
    assert_allclose(flow * MU, ACROSS, rtol=3e-7)


@SMALL
@given(mesh=MESH, axis=st.sampled_from([0, 1]), other=st.floats(0.1, 0.9))
def test_layers_along_on_any_mesh(mesh, axis, other):
    """Flat layers, and flow along either axis in plan."""
    edges = [[0.0, other, 1.0], [0.0, other, 1.0], edges_of(mesh)]
    assert_allclose(flow_through(flat(), edges, axis) * MU, ALONG, rtol=1e-10)


@pytest.mark.parametrize("axis", [0, 1])
def test_flow_along_layers_stood_on_edge(axis):
    edges = [[0.0, 0.4, 1.0]] * 3
    edges[1 - axis] = edges_of(([0.5], [0.1, 0.2], []))
    assert_allclose(flow_through(upright(1 - axis), edges, axis) * MU, ALONG, rtol=1e-10)


def test_a_face_off_the_interface_is_noticed():
    """Without lines on the interfaces the answer is some other layering's."""
    edges = [np.linspace(0.0, 1.0, 8), [0.0, 1.0], [0.0, 1.0]]
    assert abs(flow_through(upright(0), edges, 0) * MU / ACROSS - 1.0) > 0.01
