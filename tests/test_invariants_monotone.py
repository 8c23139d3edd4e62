"""More air paths never cost power; more pit and fewer leaks never cost suction."""

import dataclasses

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from random_sites import (
    House,
    common_grid,
    dug,
    everywhere,
    examples,
    houses,
    suction,
)
from small_soils import Answer

from soilflow.layout.bodies import Ball
from soilflow.layout.pits import BoxPit
from soilflow.site import FloorWallJoint, SettledGap


def check_never_less_power(before: Answer, after: Answer):
    """v' Y v has not fallen for any v, and no port's own conductance has."""
    assert after.response.ports == before.response.ports
    gained = after.response.port_matrix - before.response.port_matrix
    rounding = 1e-9 * np.abs(after.response.port_matrix).max()
    least = np.linalg.eigvalsh(0.5 * (gained + gained.T)).min()
    assert least >= -rounding, f"some pressures now move {least:.3g} less air"
    assert np.all(np.diag(gained) >= -rounding), "a port's own conductance fell"


def check_never_less_suction(before: Answer, after: Answer, atol=1e-7):
    """With all references at zero and all pits at one vacuum, no pressure has risen."""
    was, is_now = everywhere(before, suction(before)), everywhere(after, suction(after))
    assert not np.any(np.isfinite(was) & np.isnan(is_now)), "suction lost its way"
    rise = np.nanmax(is_now - was)
    assert rise <= atol, f"a pressure rose by {rise:.3g} of the vacuum"


def more(value, factor):
    return None if value is None else value * factor


@st.composite
def looser(draw, house: House):
    """The house with one thing that lets more air through."""
    site = house.site
    factor = draw(st.floats(1.05, 30.0))

    def change(group, i, **fields):
        nouns = list(getattr(site, group))
        nouns[i] = dataclasses.replace(nouns[i], **fields)
        return house.changed(**{group: tuple(nouns)})

    def layer(i, along, across):
        layers = list(site.ground.layers)
        was = layers[i]
        layers[i] = dataclasses.replace(
            was, permeability=was.permeability * along, vertical=was.across * across
        )
        return house.changed(ground=dataclasses.replace(site.ground, layers=tuple(layers)))

    ways = [
        lambda: house.changed(
            slab=dataclasses.replace(site.slab, permeability=site.slab.permeability * factor)
        )
    ]
    for i in range(len(site.ground.layers)):
        ways += [
            lambda i=i: layer(i, factor, factor),
            lambda i=i: layer(i, factor, 1.0),
            lambda i=i: layer(i, 1.0, factor),
        ]
    for i, band in enumerate(site.bands):
        ways.append(lambda i=i, b=band: change("bands", i, looser_by=b.looser_by * factor))
    if site.backfill is not None:
        fill = site.backfill
        ways.append(
            lambda: house.changed(
                backfill=dataclasses.replace(fill, looser_by=fill.looser_by * factor)
            )
        )
    for i, zone in enumerate(site.moist_zones):
        drier = min(1.0, max(zone.multiplier * factor, STATUS))
        ways.append(lambda i=i, m=drier: change("moist_zones", i, multiplier=m))
    for i, gap in enumerate(site.gaps):
        ways += [
            lambda i=i, g=gap: change(
                "gaps",
                i,
                aperture=g.aperture * factor,
                aperture_at_edge=more(g.aperture_at_edge, factor),
            ),
            lambda i=i: change("gaps", i, contact_fraction=0.0),
        ]
    for i, joint in enumerate(site.joints):
        ways.append(lambda i=i, j=joint: change("joints", i, aperture=j.aperture * min(factor, 3)))
        ways.append(lambda i=i: change("joints", i, sealed=False))
    if not site.gaps:
        ways.append(lambda: house.changed(gaps=(SettledGap(name="new", aperture=1e-3),)))
    if not site.joints:
        ways.append(lambda: house.changed(joints=(FloorWallJoint(aperture=1e-3),)))
    return draw(st.sampled_from(ways))()


def with_change(change, **kinds):
    """A house, and the same with one change."""
    return houses(**kinds).flatmap(lambda house: st.tuples(st.just(house), change(house)))


STATUS = 0.01


@examples(20)
@given(pair=with_change(looser))
def test_more_air_paths_never_cost_power(pair):
    house, wider = pair
    grid = common_grid(house, wider)
    check_never_less_power(house.answer(grid), wider.answer(grid))


@examples(12)
@given(house=houses(packed=False))
def test_one_more_pit_never_costs_suction(house):
    assume(len(house.points) > 1)
    grid = house.grid()
    fewer = house._replace(points=house.points[:-1])
    check_never_less_suction(fewer.answer(grid), house.answer(grid))


@examples(12)
@given(house=houses(most=2, packed=False), larger=st.floats(1.05, 2.0))
def test_a_larger_pit_never_costs_suction(house, larger):
    first = house.points[0]
    pit = first.pit
    if isinstance(pit, BoxPit):
        pit = dataclasses.replace(
            pit,
            length=pit.length + 0.2,
            depth=pit.depth * larger,
        )
    else:
        pit = dataclasses.replace(pit, volume=pit.volume * larger)
    points = (dataclasses.replace(first, pit=pit), *house.points[1:])
    assume(dug(house.site.slab, points) == points)
    bigger = house._replace(points=points)
    assume(holds(bigger.held()[0].body, house.held()[0].body))
    grid = common_grid(house, bigger)
    check_never_less_suction(house.answer(grid), bigger.answer(grid))


def holds(outer, inner):
    """Whether a body holds another of its kind."""
    if isinstance(outer, Ball):
        return outer.centre == inner.centre and outer.radius >= inner.radius
    low = zip(outer.low, inner.low, strict=True)
    high = zip(outer.high, inner.high, strict=True)
    return all(a <= b for a, b in low) and all(a >= b for a, b in high)


@st.composite
def sealed(draw, house: House):
    """The house with one leak to the room sealed, in part or in all."""
    site = house.site
    less = draw(st.floats(0.01, 0.9))
    ways = [
        lambda: house.changed(
            slab=dataclasses.replace(site.slab, permeability=site.slab.permeability * less)
        )
    ]
    for i, joint in enumerate(site.joints):
        for fields in ({"sealed": True}, {"aperture": joint.aperture * less}, {"aperture": 0.0}):

            def shut(i=i, joint=joint, fields=fields):
                joints = list(site.joints)
                joints[i] = dataclasses.replace(joint, **fields)
                return house.changed(joints=tuple(joints))

            ways.append(shut)
    return draw(st.sampled_from(ways))()


@examples(16)
@given(pair=with_change(sealed))
def test_sealing_a_leak_never_costs_suction(pair):
    house, tight = pair
    grid = common_grid(house, tight)
    check_never_less_suction(house.answer(grid), tight.answer(grid))
