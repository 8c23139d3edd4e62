"""Why a joint half sealed is a joint unsealed.

    python cases/teaching/half_sealed_joint.py

One pit in the middle, and a joint along the walls that is sealed wall by wall. Over a settled gap
the air finds any opening that is left. Over soil without a gap the worst place is where the joint
is still open, and stays there until the last wall. Half sealed is half the length: half the width
would pass an eighth of the air, and nobody can do that with a caulking gun.
"""

import numpy as np
from matplotlib.figure import Figure
from small_house import CENTRE, house, solved, winter

WALLS = ("south", "east", "north", "west")
DONE = (0, 2, 3, 4)  # walls sealed
SOUND_SLAB = 1e-16  # [m2]
JOINT = 1e-3  # [m]
GAP = 2e-3  # [m]
SEE = "Three walls sealed out of four and most of the gain is still to come: finish the joint."


def margins(gap):
    """Worst margin with none, two, three and all of the walls sealed. [Pa]"""
    found = []
    for n in DONE:
        site = house(joint=JOINT, sealed=WALLS[:n], slab=SOUND_SLAB, gap=gap)
        found.append(winter(solved(site, CENTRE)).worst.margin)
    return np.array(found)


def draw():
    """Margin over the share of the joint that is sealed, as a share of the whole gain."""
    figure = Figure(figsize=(7.5, 4.6), layout="constrained")
    ax = figure.add_subplot()
    share = 25.0 * np.array(DONE)
    for gap, style, name in ((GAP, "ko-", "2 mm gap under the slab"), (0.0, "ks--", "no gap")):
        m = margins(gap)
        label = f"{name}: {m[0]:.1f} Pa unsealed, {m[-1]:.1f} Pa sealed"
        ax.plot(share, 100.0 * (m - m[0]) / (m[-1] - m[0]), style, label=label)
    ax.plot([0.0, 100.0], [0.0, 100.0], color="0.6", linewidth=1.0)
    ax.text(28.0, 34.0, "what one would hope", color="0.4", rotation=33)
    ax.set_xlabel("share of the joint that is sealed [%]")
    ax.set_ylabel("share of the gain in worst margin [%]")
    ax.legend(loc="upper left")
    figure.suptitle(SEE, fontsize=10)
    return figure


if __name__ == "__main__":
    draw().savefig("half_sealed_joint.png", dpi=110)
