"""Makes the modules beside this file importable from the tests in the folders below."""

import os

from hypothesis import settings

# HYPOTHESIS_PROFILE=long: at least 200 houses for every property of random houses, new ones each
# time; where a test says itself how many it looks at, `random_sites.py` multiplies by this.
settings.register_profile("long", max_examples=200, deadline=None)
if os.environ.get("HYPOTHESIS_PROFILE") == "long":
    settings.load_profile("long")
    os.environ.setdefault("SOILFLOW_LOOK_HARDER", "25")
