"""Checks of soilflow against the world outside it, grouped by physics."""

from checks.closed_forms import CLOSED_FORMS
from checks.edges import EDGES, ONE_CELL
from checks.formulas import AIR, SOIL
from checks.houses import EXACT_HOUSES, WHOLE_HOUSE
from checks.machines import FANS, PIPES, UNITS
from checks.plane import PLANE
from checks.scheme import COMPRESSION, ORDERS
from checks.space import SPACE

# formulas first, then soil on a grid from small pieces to whole houses
GROUPS = (
    SOIL,
    AIR,
    UNITS,
    PIPES,
    FANS,
    CLOSED_FORMS,
    ONE_CELL,
    PLANE,
    COMPRESSION,
    EDGES,
    SPACE,
    ORDERS,
    EXACT_HOUSES,
    WHOLE_HOUSE,
)
