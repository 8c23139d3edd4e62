"""A soil and its one fan written in a line, further fans beside it."""

from dataclasses import fields

from soilflow.air import P_ATM
from soilflow.layout.drive import Drive
from soilflow.operating_point import solve_operating_point

_OF_A_DRIVE = {field.name for field in fields(Drive)} - {"points", "name", "pressure_atm"}


def fans_meet_soil(y, *, fan_points=(), more_drives=(), pressure_atm=P_ATM, **more):
    """`solve_operating_point` with the fields of the first drive among its arguments."""
    own = {name: more.pop(name) for name in list(more) if name in _OF_A_DRIVE}
    first = Drive(points=tuple(fan_points), pressure_atm=pressure_atm, **own)
    return solve_operating_point(y, drives=[first, *more_drives], pressure_atm=pressure_atm, **more)
