"""Closed solids in patient LPS that know their signed distance in closed form.

Sphere, ellipsoid, box, rounded box, capsule, round cone, elliptic cylinder and half space are
exact everywhere. Unions are exact outside, intersections and differences inside; elsewhere,
and in a smooth union, the value is a bound that never overstates a distance.
"""

from vertebloc.space._solid_combinations import (
    Complement,
    Difference,
    Grown,
    Intersection,
    Layer,
    Moved,
    SmoothUnion,
    Union,
)
from vertebloc.space._solid_parts import Bounds, Solid
from vertebloc.space._solid_primitives import (
    Box,
    Capsule,
    Ellipsoid,
    EllipticCylinder,
    HalfSpace,
    Rod,
    RoundCone,
    RoundedBox,
    Sphere,
)

__all__ = [
    "Bounds",
    "Box",
    "Capsule",
    "Complement",
    "Difference",
    "Ellipsoid",
    "EllipticCylinder",
    "Grown",
    "HalfSpace",
    "Intersection",
    "Layer",
    "Moved",
    "Rod",
    "RoundCone",
    "RoundedBox",
    "SmoothUnion",
    "Solid",
    "Sphere",
    "Union",
]
