"""What must hold for any house: bounds, unity, reciprocity, balance, superposition, scaling."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from random_sites import House, by_elimination, control_house, decades, examples, houses
from small_soils import Answer

from soilflow.flow.response import face_sums, respond

ZERO = 1e-7  # of a field between nought and one: what the solver may leave
SUM = 1e-8  # of the largest conductance


def check_bounds(answer: Answer):
    """Maximum principle: no pressure beyond those of the ports."""
    fields = answer.response.unit_fields
    assert fields.min() >= -1e-8, "a field below nought"
    assert fields.max() <= 1.0 + 1e-8, "a field above one"


def check_unity(answer: Answer):
    """All ports at one pressure: all soil at that pressure."""
    assert_allclose(answer.response.unit_fields.sum(axis=0), 1.0, rtol=0, atol=ZERO)


def check_reciprocity(answer: Answer):
    """On sums over faces: the matrix of dissipation is symmetric whatever the fields are."""
    faces = answer.response.face_matrix
    assert_allclose(faces, faces.T, rtol=0, atol=SUM * np.abs(faces).max(), err_msg="reciprocity")


def check_balance(answer: Answer):
    """What leaves one port arrives at the others, and what dissipates was put in."""
    faces = answer.response.face_matrix
    largest = np.abs(faces).max()
    assert_allclose(faces.sum(axis=1), 0.0, rtol=0, atol=SUM * largest, err_msg="balance")
    y = answer.response.port_matrix
    assert_allclose(y, faces, rtol=0, atol=SUM * largest, err_msg="dissipation")


def check_superposition(answer: Answer, values):
    """Fields and flows of all ports at once, solved by elimination, are sums of unit fields."""
    response, nodes = answer.response, answer.network.nodes
    held = dict(zip(response.ports, values, strict=True))
    pressure, flow = by_elimination(answer.network, held)
    largest = np.abs(values).max()
    assert_allclose(values @ response.unit_fields, pressure[:nodes], rtol=0, atol=ZERO * largest)
    y = response.port_matrix
    assert_allclose(y @ values, flow[nodes:], rtol=0, atol=SUM * largest * np.abs(y).max())


def check_scaled(here: Answer, there: Answer, factor):
    """The same pressures, the flows times a factor."""
    assert_allclose(there.response.unit_fields, here.response.unit_fields, rtol=0, atol=ZERO)
    y = factor * here.response.port_matrix
    assert_allclose(there.response.port_matrix, y, rtol=0, atol=SUM * np.abs(y).max())


def scaled(house: House, factor) -> House:
    """All permeabilities and leaks times a factor, the joints as wide as they were.

    A thinner slab passes more by its body and by its joints alike.
    """
    site = house.site
    third = factor ** (1.0 / 3.0)
    layers = tuple(
        dataclasses.replace(
            layer, permeability=factor * layer.permeability, vertical=factor * layer.across
        )
        for layer in site.ground.layers
    )
    gaps = tuple(
        dataclasses.replace(
            gap,
            aperture=third * gap.aperture,
            aperture_at_edge=third * gap.aperture_at_edge if gap.taper else None,
        )
        for gap in site.gaps
    )
    return house.changed(
        slab=dataclasses.replace(site.slab, thickness=site.slab.thickness / factor),
        ground=dataclasses.replace(site.ground, layers=layers),
        gaps=gaps,
    )


@examples(25)
@given(house=houses(), seed=st.integers(0, 2**31))
def test_one_answer(house, seed):
    answer = house.answer()
    check_bounds(answer)
    check_unity(answer)
    check_reciprocity(answer)
    check_balance(answer)
    check_superposition(
        answer, np.random.default_rng(seed).uniform(-500.0, 5.0, len(answer.response.ports))
    )


@examples(12)
@given(house=houses(), factor=decades(-1.3, 1.3))
def test_everything_scaled_scales_the_flows_only(house, factor):
    grid = house.grid()
    check_scaled(house.answer(grid), scaled(house, factor).answer(grid), factor)


def with_fields(answer: Answer, fields):
    """The answer, had the solver come back with other fields."""
    response = dataclasses.replace(
        answer.response, unit_fields=fields, face_matrix=face_sums(answer.network, fields)
    )
    return dataclasses.replace(answer, response=response)


def one_way_street(answer: Answer):
    """Fields on a network where one port's edges are wider for what comes back."""
    network = answer.network
    crooked = np.where(network.port == 0, 1.01, 1.0) * network.port_conductance
    fields = respond(dataclasses.replace(network, port_conductance=crooked)).unit_fields
    return with_fields(answer, fields)


def test_each_check_complains_of_a_broken_answer():
    good = control_house().answer()
    fields = good.response.unit_fields
    values = np.linspace(-500.0, 5.0, len(good.response.ports))
    for check in (check_bounds, check_unity, check_reciprocity, check_balance):
        check(good)
    check_superposition(good, values)

    broken = fields.copy()
    broken[0, broken[0].argmin()] = -1e-6
    with pytest.raises(AssertionError, match="below nought"):
        check_bounds(with_fields(good, broken))
    broken[0, 0] = 1.0 + 1e-6
    with pytest.raises(AssertionError, match="above one"):
        check_bounds(with_fields(good, np.abs(broken)))
    with pytest.raises(AssertionError):
        check_unity(with_fields(good, fields * (1.0 + 1e-6)))
    with pytest.raises(AssertionError, match="reciprocity"):
        check_reciprocity(one_way_street(good))
    with pytest.raises(AssertionError, match="balance"):
        check_balance(one_way_street(good))
    lost = dataclasses.replace(good.response, port_matrix=1.000001 * good.response.port_matrix)
    with pytest.raises(AssertionError, match="dissipation"):
        check_balance(dataclasses.replace(good, response=lost))
    with pytest.raises(AssertionError):
        check_superposition(with_fields(good, fields**1.001), values)
    with pytest.raises(AssertionError):
        check_superposition(dataclasses.replace(good, response=lost), values)


def test_the_scaling_check_complains_when_one_mechanism_stays_behind():
    house = control_house()
    site = house.site
    everything = scaled(house, 2.0)
    grid = house.grid()
    here = house.answer(grid)
    check_scaled(here, everything.answer(grid), 2.0)
    for behind in ("slab", "ground", "gaps"):
        partly = everything.changed(**{behind: getattr(site, behind)})
        with pytest.raises(AssertionError):
            check_scaled(here, partly.answer(grid), 2.0)
    with pytest.raises(AssertionError):
        check_scaled(here, everything.answer(grid), 2.001)
