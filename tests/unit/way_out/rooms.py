"""Small rooms made of blocks: a post to pass, walls, and bars that may be given up."""

import manifold3d
import numpy as np

from vertebloc.space.sections import surface_of_solid
from vertebloc.way_out import Obstacle, Room, Substance


def box(low, high):
    low, high = np.array(low, float), np.array(high, float)
    return manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))


def bar(name, y_mm, x_mm=(-60.0, 60.0), give_mm=1.0, z_mm=0.0):
    """A nerve across the room: 3 mm thick, given up by its name."""
    x = np.linspace(*x_mm, int((x_mm[1] - x_mm[0]) / 0.3) + 1)
    line = np.column_stack((x, np.full(len(x), y_mm), np.full(len(x), z_mm)))
    return Obstacle(
        name=name, substance=Substance.ROOT, line=line, radius_mm=1.5, may_press_mm=give_mm,
        sacrifice=name,
    )  # fmt: skip


def post_room(*more, left_mm=30.0, right_mm=8.0):
    """A block 12 mm wide in front of a post 8 mm thick; beside the post gaps of two widths."""
    post = manifold3d.Manifold.cylinder(40.0, 4.0, circular_segments=64, center=True)
    post = post.translate((0.0, 14.0, 0.0))
    walls = box([4 + left_mm, -30, -20], [60, 70, 20]) + box(
        [-60, -30, -20], [-4 - right_mm, 70, 20]
    )
    return Room(
        piece=surface_of_solid(box([-6, -6, -8], [6, 6, 8])),
        sac=surface_of_solid(post),
        obstacles=(
            Obstacle(
                name="walls", substance=Substance.BONE, surface=surface_of_solid(walls),
                may_press_mm=1.0,
            ),
            *more,
        ),
        delivered_y_mm=34.0, x_mm=(-58.0, 58.0), y_mm=(-14.0, 46.0), sac_middle_mm=(0.0, 14.0),
    )  # fmt: skip
