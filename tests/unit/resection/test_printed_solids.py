"""Tags on printed solids: side, level, length and legibility, judged by other libraries."""

from __future__ import annotations

from types import SimpleNamespace

import manifold3d
import numpy as np
import pytest
import trimesh
from PIL import Image, ImageDraw, ImageFont

from vertebloc.errors import InputError
from vertebloc.reports.export_words import filling_lines
from vertebloc.resection.kinds import SAGITTAL_CUT
from vertebloc.resection.printed_piece import bridged, filled_piece, without_crumbs
from vertebloc.resection.printed_solids import apart_in_32_bits, tagged_solid
from vertebloc.space.frames import Frame, Side
from vertebloc.space.planes import Plane
from vertebloc.space.raised_letters import scale_cube, tag_solid
from vertebloc.space.sections import solid_from_surface, surface_of_solid
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import rigid_frame

PIXEL_MM = 0.1


def vertebra(turn_deg: float = 20.0, mirrored: bool = False) -> SimpleNamespace:
    """A frame tilted about the left axis and rolled a little, off the origin; or its twin's."""
    a, b = np.radians([turn_deg, 5.0])
    tilt = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    roll = np.array([[np.cos(b), -np.sin(b), 0], [np.sin(b), np.cos(b), 0], [0, 0, 1]])
    axes, at = roll @ tilt, np.array([12.0, 40.0, 871.0])
    if mirrored:
        flip = np.diag([-1.0, 1.0, 1.0])
        axes, at = flip @ axes @ flip, flip @ at
    lps = rigid_frame(at, axes, target=Frame.PATIENT_LPS, source=Frame.VERTEBRA)
    return SimpleNamespace(lps_from_vertebra=lps)


def lopsided(frame: SimpleNamespace, mirrored: bool = False) -> TriangleSurface:
    """A body with a knob at the patient's left; or its mirror twin."""
    body = manifold3d.Manifold.cube((40.0, 30.0, 25.0), True)
    knob = manifold3d.Manifold.sphere(6.0, 24).translate((-22.0 if mirrored else 22.0, 0.0, 3.0))
    matrix = frame.lps_from_vertebra.matrix[:3, :4]
    return surface_of_solid((body + knob).transform(np.ascontiguousarray(matrix)))


def mesh(surface: TriangleSurface) -> trimesh.Trimesh:
    return trimesh.Trimesh(surface.vertices, surface.triangles, process=False)


def letters_seen(whole: TriangleSurface, frame: SimpleNamespace, side: int, *, behind: bool):
    """Raised letters of the tag at a side as ink, as somebody sees them who looks at that face.

    ``side``: +1 the patient's left. The section is trimesh's.
    """
    local = mesh(whole)
    local.apply_transform(frame.lps_from_vertebra.inverse.matrix)
    x = local.vertices[:, 0] * side
    middle = np.array([side * (x.max() - 10.0), 0.0, 0.0])
    of_tag = local.vertices[x > x.max() - 0.01]
    middle[1:] = of_tag[:, 1:].min(axis=0) / 2.0 + of_tag[:, 1:].max(axis=0) / 2.0
    above = middle + np.array([0.0, 1.6 if behind else -1.6, 0.0])
    found = local.section(plane_origin=above, plane_normal=[0.0, 1.0, 0.0])
    image = Image.new("1", (200, 200))
    # from behind the patient's right lies at the reader's right, from the front at the left
    right = -1.0 if behind else 1.0
    for loop in found.discrete:
        flat = [(100 + right * (p[0] - middle[0]) / PIXEL_MM, 100 - (p[2] - middle[2]) / PIXEL_MM)
                for p in loop]  # fmt: skip
        if all(0 <= u < 200 and 0 <= v < 200 for u, v in flat):
            other = Image.new("1", (200, 200))
            ImageDraw.Draw(other).polygon(flat, fill=1)
            image = Image.fromarray(np.asarray(image) ^ np.asarray(other))
    return np.asarray(image)


def likeness(ink: np.ndarray, word: str) -> float:
    """How far raised letters overlap a word in another library's letters; 0: not as many."""
    letters = runs(ink.T)
    if len(letters) != len(word):
        return 0.0
    return float(np.mean([_like(one.T, to) for one, to in zip(letters, word, strict=True)]))


def _like(ink: np.ndarray, letter: str) -> float:
    (one,) = runs(ink)
    font = ImageFont.load_default(40)
    box = font.getbbox(letter, stroke_width=1)
    drawn = Image.new("L", (int(box[2] - box[0]), int(box[3] - box[1])))
    ImageDraw.Draw(drawn).text((-box[0], -box[1]), letter, fill=255, font=font, stroke_width=1)
    theirs = np.asarray(drawn.resize(one.shape[::-1])) > 127
    return float((one & theirs).sum() / (one | theirs).sum())


def runs(ink: np.ndarray) -> list[np.ndarray]:
    """Rows with ink between rows without, from top to bottom."""
    filled = ink.any(axis=1).astype(int)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], filled, [0]))))
    return [ink[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]


@pytest.mark.parametrize("mirrored", [False, True], ids=["patient", "mirror twin"])
def test_each_tag_says_its_own_side_and_reads_from_both_faces(mirrored: bool) -> None:
    """Danger: side flipped. Judge: trimesh's sections against Pillow's letters, also mirrored."""
    frame = vertebra(mirrored=mirrored)
    made = tagged_solid("piece", lopsided(frame, mirrored), frame, level="T10")
    for side, words in ((1, ("LEFT", "RIGHT")), (-1, ("RIGHT", "LEFT"))):
        for behind in (True, False):
            rows = runs(letters_seen(made.surface, frame, side, behind=behind))
            assert len(rows) == 3
            turned = (rows[0][:, ::-1], rows[0][::-1], rows[0][::-1, ::-1])
            wrong = max(likeness(ink, words[0]) for ink in turned)
            # upside down, R I G H T is nearly itself: 1.19 there, 2 for a mirrored word
            assert likeness(rows[0], words[0]) > 1.15 * wrong, (side, behind)
            assert likeness(rows[0], words[1]) == 0.0
            levels = {word: likeness(rows[1], word) for word in ("T10", "T11", "T9", "L1", "C7")}
            assert max(levels, key=levels.__getitem__) == "T10"


def test_a_tagged_solid_is_closed_holds_the_solid_and_measures_20_mm() -> None:
    """Closed forms: the body's volume, a square of 20 mm; judges: trimesh and manifold3d."""
    frame = vertebra()
    bare = lopsided(frame)
    made = tagged_solid("piece", bare, frame, level="T10?")
    read = mesh(made.surface)
    assert read.is_watertight and read.is_winding_consistent
    assert len(read.split()) == made.loose_parts == 1
    assert made.volume_ml == pytest.approx(bare.volume_ml, rel=1e-3)
    one, other = (
        manifold3d.Manifold(
            manifold3d.Mesh64(
                vert_properties=np.array(s.vertices), tri_verts=s.triangles.astype(np.uint64)
            )
        )
        for s in (bare, made.surface)
    )
    assert (one ^ other).volume() == pytest.approx(one.volume(), rel=1e-3)
    assert 1500.0 < (other - one).volume() < 2600.0  # two plates of 20 x 20 x 2.4 mm, and letters
    local = read.copy()
    local.apply_transform(frame.lps_from_vertebra.inverse.matrix)
    left = local.vertices[local.vertices[:, 0] > local.vertices[:, 0].max() - 0.01]
    assert np.ptp(left[:, 2]) == pytest.approx(20.0, abs=0.05)  # FINE_MM
    # how far the plates reach out: a gap of 3 mm and 20 mm beside the widest place at each side
    assert local.vertices[:, 0].max() == pytest.approx(28.0 + 23.0, abs=0.1)
    assert local.vertices[:, 0].min() == pytest.approx(-20.0 - 23.0, abs=0.1)


def test_the_cube_and_the_tag_have_edges_of_20_mm() -> None:
    cube, tag = (
        surface_of_solid(scale_cube()),
        surface_of_solid(tag_solid(("LEFT", "L3", "20 mm"))),
    )
    assert np.allclose(np.ptp(cube.vertices, axis=0), 20.0, atol=1e-9)
    assert np.allclose(np.ptp(tag.vertices, axis=0), [20.0, 20.0, 4.0], atol=1e-9)
    assert cube.is_closed and tag.is_closed


def test_what_cannot_be_raised_is_refused() -> None:
    with pytest.raises(InputError, match="'x' in"):
        tag_solid(("LEFT", "x"))
    with pytest.raises(InputError, match="too long for a tag of 20 mm"):
        tag_solid(("LEFT", "T10", "20 mm" * 3))
    frame = vertebra()
    bare = lopsided(frame)
    with pytest.raises(InputError, match="no closed solid"):
        tagged_solid(
            "piece", TriangleSurface(bare.vertices, bare.triangles[1:]), frame, level="T1"
        )


def test_a_solid_that_touches_itself_stays_closed_in_32_bits() -> None:
    """Outside: trimesh joins equal corners of 32 bits. Two boxes a hair of 1e-6 mm apart."""
    at = (-12.3, 250.25, 871.125)
    one = manifold3d.Manifold.cube((20.0, 20.0, 20.0)).translate(at)
    touching = surface_of_solid(one + one.translate((0.0, 0.0, 20.000001)))

    def joined(surface: TriangleSurface) -> trimesh.Trimesh:
        corners = surface.vertices.astype(np.float32)
        return trimesh.Trimesh(corners, surface.triangles, process=True, validate=False)

    assert not joined(touching).is_watertight
    kept = apart_in_32_bits(touching)
    assert joined(kept).is_watertight
    assert np.abs(kept.vertices - touching.vertices).max() < 0.01
    assert kept.volume_mm3 == pytest.approx(16000.0, rel=1e-3)


def test_crumbs_go_and_closed_hollows_are_filled() -> None:
    """Closed forms: a ball with a hollow, and a crumb of 1 mm3 beside it."""
    ball = manifold3d.Manifold.sphere(10.0, 64)
    crumb = manifold3d.Manifold.cube((1.0, 1.0, 1.0)).translate((20.0, 0.0, 0.0))
    left = without_crumbs(ball - manifold3d.Manifold.sphere(3.0, 32) + crumb, 20.0)
    assert left.volume() == pytest.approx(ball.volume(), rel=1e-9)
    assert len(left.decompose()) == 1


def slabs(gap_mm: float) -> SimpleNamespace:
    """A plan whose piece is two slabs of 40 x 30 x 8 mm with a gap, between cuts at +-15 mm."""
    slab = manifold3d.Manifold.cube((40.0, 30.0, 8.0), True)
    half = gap_mm / 2.0 + 4.0
    piece = slab.translate((0.0, 0.0, half)) + slab.translate((0.0, 0.0, -half))
    cuts = tuple(
        SimpleNamespace(
            name=f"{side.value} half", side=side,
            plane=Plane(np.array([0.0, 0.0, sign * 15.0]), np.array([0.0, 0.0, sign])),
        )
        for side in Side for sign in (1.0, -1.0)
    )  # fmt: skip
    return SimpleNamespace(piece=surface_of_solid(piece), cuts=cuts)


def straight() -> SimpleNamespace:
    lps = rigid_frame(np.zeros(3), np.eye(3), target=Frame.PATIENT_LPS, source=Frame.VERTEBRA)
    return SimpleNamespace(lps_from_vertebra=lps)


def test_discs_between_the_cuts_make_the_piece_one_part() -> None:
    """Closed form: the gap of 6 mm between endplates of 40 x 30 mm holds 7.2 ml."""
    disc = manifold3d.Manifold.cube((40.0, 30.0, 6.4), True)
    beyond = manifold3d.Manifold.cube((40.0, 30.0, 6.0), True).translate((0.0, 0.0, 20.0))
    found = filled_piece(
        slabs(6.0), straight(), [surface_of_solid(one) for one in (disc, beyond)], None
    )
    assert found.loose_parts == 1
    assert found.disc_ml == pytest.approx(7.2, rel=1e-6)
    assert found.bridge_ml == pytest.approx(0.0, abs=1e-9) and found.left_out_ml < 1e-9
    read = mesh(found.surface)
    assert read.is_watertight and len(read.split()) == 1
    assert np.allclose(np.ptp(read.vertices, axis=0), [40.0, 30.0, 22.0], atol=1e-6)


def test_without_outlined_discs_a_bridge_holds_the_piece_together() -> None:
    """Closed form: the hull of two endplates that face each other is the gap between them."""
    found = filled_piece(slabs(6.0), straight(), [], None)
    assert found.loose_parts == 1 and found.disc_ml == 0.0
    assert found.bridge_ml == pytest.approx(7.2, rel=1e-6)
    assert filling_lines(found) == (
        "filled into the piece: 7.20 ml of bridges between its parts, which are no anatomy",
    )
    alone = manifold3d.Manifold.sphere(10.0, 32)
    assert bridged(alone, manifold3d.Manifold()).volume() == pytest.approx(alone.volume())


def test_nothing_is_filled_into_the_sac_and_what_stays_loose_is_said() -> None:
    wall = surface_of_solid(manifold3d.Manifold.cube((60.0, 60.0, 4.0), True))
    disc = surface_of_solid(manifold3d.Manifold.cube((40.0, 30.0, 6.4), True))
    for discs in ([], [disc]):
        found = filled_piece(slabs(6.0), straight(), discs, wall)
        solid = solid_from_surface(found.surface)
        assert (solid ^ solid_from_surface(wall)).volume() < 1e-6
        assert found.loose_parts == 2
        assert filling_lines(found)[-1].startswith("CAUTION: the piece prints in 2 loose parts")


def test_bits_too_small_to_print_are_left_out_and_said() -> None:
    """Closed form: a cube of 2 mm is 8 mm3, less than the 20 that are bridged."""
    plan = slabs(6.0)
    crumb = manifold3d.Manifold.cube((2.0, 2.0, 2.0), True).translate((30.0, 0.0, 0.0))
    plan.piece = surface_of_solid(solid_from_surface(plan.piece) + crumb)
    found = filled_piece(plan, straight(), [], None)
    assert found.loose_parts == 1
    assert found.left_out_ml == pytest.approx(0.008, rel=1e-6)
    assert filling_lines(found)[-1] == (
        "left out of the piece: less than 0.01 ml of bits too small to print"
    )


def test_half_a_body_is_filled_on_its_own_side_only() -> None:
    """Closed form: of the gap of 40 x 30 x 6 mm the left half is 3.6 ml."""
    plan = slabs(6.0)
    left = manifold3d.Manifold.cube((60.0, 60.0, 60.0), True).translate((30.0, 0.0, 0.0))
    plan.piece = surface_of_solid(solid_from_surface(plan.piece) ^ left)
    lengthwise = SimpleNamespace(
        name=SAGITTAL_CUT, side=Side.LEFT, plane=Plane(np.zeros(3), np.array([-1.0, 0.0, 0.0]))
    )
    plan.cuts = (*(cut for cut in plan.cuts if cut.side is Side.LEFT), lengthwise)
    disc = surface_of_solid(manifold3d.Manifold.cube((40.0, 30.0, 6.4), True))
    found = filled_piece(plan, straight(), [disc], None)
    assert (found.disc_ml, found.loose_parts) == (pytest.approx(3.6, rel=1e-6), 1)
    assert mesh(found.surface).bounds[0, 0] == pytest.approx(0.0, abs=1e-6)
