"""The unfolded piece: true areas, left is left, nothing covers anything, nothing is left out."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh

from vertebloc.reports import page_words as words
from vertebloc.reports.carton import PANEL_AXES, unfold
from vertebloc.reports.carton_layout import PAPER, SCREEN
from vertebloc.reports.carton_svg import carton_svg
from vertebloc.resection.model import FaceKind
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.solids import Sphere
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform

from .conftest import at, bone_face, half_disc, made_plan, made_vertebra

SVG = "{http://www.w3.org/2000/svg}"
T10 = made_plan().level
TUMOUR = Sphere(at(9.0, 3.0, -6.0), 10.0)


def tilted_square(z, tilt_deg, half=15.0):
    """A square cut face that leans: its shadow on the panel is smaller than itself."""
    tilt = np.radians(tilt_deg)
    plane = Plane(at(0.0, 0.0, z), [0.0, np.sin(tilt), np.cos(tilt)])
    loop = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    return PlanarFace(plane.frame((1.0, 0.0, 0.0)), (loop,))


def base(side):
    """10 mm wide, 8 mm high, at the posterior wall of one side."""
    plane = Plane(at(side.sign * 12.0, 18.0, 2.0), [0.0, 1.0, 0.0])
    loop = np.array([[-5.0, -4.0], [5.0, -4.0], [5.0, 4.0], [-5.0, 4.0]])
    return PlanarFace(plane.frame((1.0, 0.0, 0.0)), (loop,))


def plan_with(*more, **how):
    plan = made_plan()
    faces = [face for face in plan.faces if face.name != "right pedicle base"]
    return replace(plan, faces=(*faces, *more), **how)


@pytest.fixture(scope="module")
def plan():
    return plan_with(
        bone_face("right pedicle base", 6.1, 12.0, face=base(Side.RIGHT), area_mm2=80.0,
                  weakest=at(-9.0, 18.0, 2.0)),
        bone_face("left arch cut", 17.0, 20.0, face=base(Side.LEFT), area_mm2=80.0,
                  weakest=at(9.0, 18.0, 2.0)),
    )  # fmt: skip


@pytest.fixture(scope="module")
def carton(plan):
    return unfold(plan, made_vertebra(T10), TUMOUR)


def drawn_faces(svg):
    """Loops of each bone face, in the drawing's units, and units per mm."""
    root = ElementTree.fromstring(svg)
    found = {}
    for group in root.iter(f"{SVG}g"):
        for path in group.findall(f"{SVG}path"):
            if path.get("class") == "face":
                loops = [
                    np.array([list(map(float, p.split())) for p in loop.split("L")])
                    for loop in re.findall(r"M([^Z]+)Z", path.get("d"))
                ]
                found[group.get("data-face")] = loops
    return found, float(root.get("data-units-per-mm"))


def area(loops):
    return abs(sum(0.5 * np.sum(p[:, 0] * np.roll(p[:, 1], -1) - np.roll(p[:, 0], -1) * p[:, 1])
                   for p in loops))  # fmt: skip


@pytest.mark.parametrize("size", [SCREEN, PAPER], ids=["screen", "paper"])
def test_areas_in_the_drawing_are_those_of_the_faces(carton, plan, size):
    # closed form: a half disc of radius 18 in 14 steps of pi / 14 is a fan of 14 triangles
    half = 14 * 0.5 * 18.0**2 * np.sin(np.pi / 14)
    faces, scale = drawn_faces(carton_svg(carton, size))
    bone = {face.name for face in plan.faces if face.kind is FaceKind.BONE}
    assert set(faces) == bone
    for name, loops in faces.items():
        expected = half if "half" in name else 80.0
        assert area(loops) / scale**2 == pytest.approx(expected, rel=2e-3)  # 2 decimals are drawn


def test_a_leaning_face_is_laid_flat_not_projected():
    leaning = tilted_square(24.0, 30.0)
    face = bone_face("right half of the cranial cut", 9.0, 9.0, face=leaning, area_mm2=900.0)
    faces = [one for one in made_plan().faces if "cranial" not in one.name]
    plan = replace(made_plan(), faces=(*faces[:2], face, *faces[3:]))
    shape = unfold(plan, made_vertebra(T10), TUMOUR).panels["cranial"].shapes[0]
    assert shape.area_mm2 == pytest.approx(30.0**2, rel=1e-9)  # the shadow is 13 % smaller
    assert np.ptp(shape.loops[0], axis=0) == pytest.approx([30.0, 30.0])


def test_each_panel_is_a_turn_never_a_mirror_image():
    for right, up in PANEL_AXES.values():
        viewer = np.cross(right, up)
        assert np.linalg.det(np.array([right, up, viewer])) == pytest.approx(1.0)


def test_left_is_left_and_head_is_up(carton):
    faces, _ = drawn_faces(carton_svg(carton))
    middle = {name: np.concatenate(loops).mean(axis=0) for name, loops in faces.items()}
    for end in ("cranial", "caudal"):
        assert middle[f"{end} cut, left half"][0] < middle[f"{end} cut, right half"][0]
    assert middle["cranial cut, left half"][1] < middle["right pedicle base"][1]
    assert middle["right pedicle base"][1] < middle["caudal cut, left half"][1]
    assert middle["right pedicle base"][0] > middle["cranial cut, left half"][0]


def mirrored(plan):
    """The same plan behind a looking glass in the patient's own left and right."""
    mirror = np.diag([-1.0, 1.0, 1.0])
    origin = at(0.0, 0.0, 0.0)

    def over(points):
        return (np.asarray(points) - origin) @ mirror + origin

    def face_over(face):
        plane = face.lps_from_plane
        matrix = np.eye(4)
        matrix[:3, 0] = -(mirror @ plane.matrix[:3, 0])
        matrix[:3, 1], matrix[:3, 2] = mirror @ plane.matrix[:3, 1], mirror @ plane.matrix[:3, 2]
        matrix[:3, 3] = over(plane.origin)
        loops = tuple((loop * (-1.0, 1.0))[::-1] for loop in face.loops)
        return PlanarFace(Transform(matrix, target=plane.target, source=plane.source), loops)

    swap = {"left": "right", "right": "left"}
    faces = tuple(
        replace(
            one,
            name=re.sub("left|right", lambda word: swap[word[0]], one.name),
            weakest=over(one.weakest),
            face=face_over(one.face) if one.face is not None else None,
        )
        for one in plan.faces
    )
    piece = TriangleSurface(over(plan.piece.vertices), plan.piece.triangles[:, ::-1])
    return replace(plan, faces=faces, piece=piece)


def test_the_mirror_twin_is_drawn_mirrored(plan, carton):
    tumour = Sphere(at(-9.0, 3.0, -6.0), 10.0)
    twin = unfold(mirrored(plan), made_vertebra(T10), tumour)
    swap = {"left": "right", "right": "left"}
    for name, panel in carton.panels.items():
        other = twin.panels[swap.get(name, name)]
        assert other.low[0] == pytest.approx(-panel.high[0], abs=1e-6)
        assert other.high[1] == pytest.approx(panel.high[1], abs=1e-6)
        said = {re.sub("left|right", lambda word: swap[word[0]], s.face.name): s
                for s in panel.shapes}  # fmt: skip
        assert {shape.face.name for shape in other.shapes} == set(said)
        for shape in other.shapes:
            assert shape.weakest == pytest.approx(said[shape.face.name].weakest * (-1, 1))
            here = sorted(map(tuple, np.round(np.concatenate(shape.loops), 5) + 0.0))
            there = np.concatenate(said[shape.face.name].loops) * (-1.0, 1.0)
            if shape.face.kind is FaceKind.BONE:
                assert here == sorted(map(tuple, np.round(there, 5) + 0.0))


def boxes(svg, letters):
    """Room of every line of text, told from its letters as a wide sans-serif has them."""
    root, found = ElementTree.fromstring(svg), []
    for one in root.iter(f"{SVG}text"):
        x, y = float(one.get("x")), float(one.get("y"))
        wide = len(one.text) * 0.6 * letters
        x0 = {"start": x, "middle": x - wide / 2, "end": x - wide}[one.get("text-anchor")]
        box = (x0, y - 0.5 * letters, x0 + wide, y + 0.5 * letters)
        if one.get("transform"):
            box = (x - 0.5 * letters, y - wide / 2, x + 0.5 * letters, y + wide / 2)
        found.append((one.text, box))
    return found


@pytest.mark.parametrize("size", [SCREEN, PAPER], ids=["screen", "paper"])
def test_no_words_cover_others_and_none_are_cut_off(carton, size):
    svg = carton_svg(carton, size)
    height = float(re.search(r'viewBox="0 0 \S+ (\S+)"', svg)[1])
    found = boxes(svg, size.letters)
    assert len(found) > 20
    for place, (said, a) in enumerate(found):
        assert a[0] >= 0 and a[1] >= 0 and a[2] <= size.width and a[3] <= height, said
        for other, b in found[place + 1 :]:
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, f"{said!r} lies on {other!r}"


def test_letters_are_as_large_as_they_must_be():
    assert SCREEN.letters >= 13 and SCREEN.unit == "px"
    assert PAPER.letters >= 9 and PAPER.unit == "pt"


@pytest.mark.parametrize("size", [SCREEN, PAPER], ids=["screen", "paper"])
def test_every_face_has_its_number_its_area_and_its_ring(carton, plan, size):
    svg = carton_svg(carton, size)
    said = " ".join(text for text, _ in boxes(svg, size.letters))
    for face in plan.faces:
        assert f"{face.margin_mm:.1f} mm" in said
        assert f"{face.area_mm2:.0f} mm²" in said
    assert svg.count('class="weakest"') == len(plan.faces) + 1  # and the legend's
    for name in words.CARTON_PANELS.values():
        assert name in said
    for edge in words.CARTON_EDGES:
        assert said.split().count(edge) >= 2


def test_a_cut_through_tumour_is_hatched_where_it_runs_in_tumour(plan):
    """Ball of radius 10, 6 mm below the cut: a disc of radius 8 lies in tumour."""
    upper = 24.0
    ball = Sphere(at(0.0, 0.0, upper - 6.0), 10.0)
    carton = unfold(plan, made_vertebra(T10), ball)
    cells = [shape.cells for shape in carton.panels["cranial"].shapes]
    inside = np.concatenate([half[half[:, 2] < 0.0] for half in cells])
    assert len(inside) * carton.pitch_mm**2 == pytest.approx(np.pi * 64.0, rel=0.03)
    assert np.hypot(inside[:, 0], inside[:, 1]).max() <= 8.0 + 1e-6
    crossed = replace(plan.faces[0], margin_mm=-4.0, tumour_crossed_mm2=100.5)
    svg = carton_svg(unfold(replace(plan, faces=(crossed, *plan.faces[1:])), made_vertebra(T10),
                            ball))  # fmt: skip
    said = [text for text, _ in boxes(svg, 13.0)]
    assert "in tumour:" in said and "100 mm²" in said
    assert svg.count("url(#carton-hatch)") > 20  # cells, not the legend's alone


def test_cells_hold_the_closed_forms_distance(carton):
    for shape in carton.panels["cranial"].shapes:
        x, y, margin = shape.cells.T
        # laid flat: to the patient's right, and to the front from the vertebra's middle
        expected = np.sqrt((-x - 9.0) ** 2 + (-y - 3.0) ** 2 + 30.0**2) - 10.0
        assert margin == pytest.approx(expected, abs=1e-9)


def test_where_no_bone_is_cut_the_drawing_says_so(plan):
    faces = tuple(face for face in plan.faces if "cranial" not in face.name)
    svg = carton_svg(unfold(replace(plan, faces=faces), made_vertebra(T10), TUMOUR))
    for line in words.CARTON_NO_BONE:
        assert line in [text for text, _ in boxes(svg, 13.0)]


def test_tumour_bare_on_a_dissected_face_is_hatched_there():
    """A block whose back carries a square of tumour: bare over 8 x 10 mm, seen from behind."""
    block = trimesh.creation.box(bounds=[[-18, -18, -20], [18, 18, 20]]).subdivide_to_size(1.0)
    piece = TriangleSurface(block.vertices + at(0.0, 0.0, 0.0), block.faces)

    class Slab:
        """Distance 0 within the square on the back, far elsewhere."""

        def signed_distance_mm(self, points):
            x, y, z = (np.asarray(points) - at(0.0, 0.0, 0.0)).T
            on = (np.abs(x - 2.0) < 4.0) & (np.abs(z - 3.0) < 5.0) & (np.abs(y - 18.0) < 0.01)
            return np.where(on, 0.0, 9.0)

    carton = unfold(replace(plan_with(), piece=piece), made_vertebra(T10), Slab())
    back = carton.panels["back"].shapes[0]
    assert back.face.name == "sac" and back.face.margin_mm == 0.0
    patch = np.concatenate(back.bare)
    assert area(back.bare) == pytest.approx(80.0, rel=0.15)  # whole triangles of 1 mm
    assert patch.mean(axis=0) == pytest.approx([-2.0, 3.0], abs=0.6)  # left of the midline, above


def test_half_disc_helper_is_what_the_closed_form_says():
    assert half_disc(10.0, Side.LEFT).area_mm2 == pytest.approx(14 * 162 * np.sin(np.pi / 14))
