"""The file that plays a plan: what is in it, what is not, and what it says to whom."""

from __future__ import annotations

import base64
import json
import re
from typing import Any

import numpy as np
import pytest

from vertebloc.reports import plan_json, player_words
from vertebloc.reports.player_page import PlayerScene, PlayerScripts, player_page
from vertebloc.reports.player_words import Audience
from vertebloc.resection.model import Contamination, OpensTumour, TumourLeft
from vertebloc.resection.played_parts import PlayedPart, blade_surface
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow.planned_again import differing

SCRIPTS = PlayerScripts(
    look="body{}", player="/*player*/", maths="/*maths*/", solid="/*solid*/",
    drawing_library="/*</drawing>*/", notices="whose -- it is",
)  # fmt: skip


def parts_of(made: Any) -> tuple[PlayedPart, ...]:
    plan = made.plan
    return (
        PlayedPart(name="what stays", kind="bone", surface=made.surfaces["bone"]),
        PlayedPart(name="piece", kind="piece", surface=plan.piece),
        PlayedPart(name="nibbled", kind="nibbled", surface=plan.nibbled or plan.piece),
        PlayedPart(name="tumour", kind="tumour", surface=made.surfaces["tumour"]),
        PlayedPart(name="cuts", kind="blade", surface=blade_surface(plan)),
    )


def page_of(made_up: Any, scene: Any, audience: Audience, poses: Any = (), **more: Any) -> str:
    lps = scene.vertebra.lps_from_vertebra
    played = PlayerScene(parts=parts_of(scene), lps_from_vertebra=lps, poses=poses)
    return player_page(made_up.document(), played, audience, SCRIPTS, **more)


def data_in(page: str) -> dict[str, Any]:
    found = re.search(r'<script type="application/json" id="plan">(.*?)</script>', page, re.S)
    assert found is not None
    read: dict[str, Any] = json.loads(found[1])
    return read


def words_in(page: str) -> str:
    said = [re.sub(r"<(script|style)\b.*?</\1>", "", page, flags=re.S)]
    said += [w for step in data_in(page)["steps"] for w in (step["title"], *step["words"])]
    return "\n".join(said)


@pytest.mark.parametrize("audience", list(Audience), ids=lambda one: one.value)
def test_everything_is_in_the_file_and_nobody_is_named(audience, made_up, scene) -> None:
    """Danger: identity leaked. The person and who signed are those of the made-up sheet."""
    page = page_of(made_up, scene, audience)
    assert not re.findall(r'(?:src|href)="(?!data:)', page)
    assert "default-src 'none'" in page
    imports = json.loads(re.findall(r'type="importmap">(.*?)</script>', page)[0])["imports"]
    script = base64.b64decode(imports["three-drawing"].split("base64,")[1]).decode()
    assert script == SCRIPTS.drawing_library
    said = words_in(page)
    assert made_up.document()["code"] in said
    for secret in (made_up.identity.name, made_up.identity.number, made_up.identity.birth_date,
                   made_up.confirmation.confirmed_by):  # fmt: skip
        assert secret and secret not in page
    named = page_of(made_up, scene, audience, identity=made_up.identity)
    assert made_up.identity.name in named and made_up.identity.birth_date in named


def test_meshes_come_back_to_a_hundredth_of_a_millimetre(made_up, scene) -> None:
    """By hand: 16-bit shares of a box of at most 200 mm are 0.003 mm apart."""
    read = {
        part["name"]: part for part in data_in(page_of(made_up, scene, Audience.CONSENT))["parts"]
    }
    for part in parts_of(scene):
        kept = read[part.name]
        shares = np.frombuffer(base64.b64decode(kept["corners"]), dtype="<u2").reshape(-1, 3)
        corners = np.array(kept["low"]) + shares * np.array(kept["step"])
        assert np.abs(corners - part.surface.vertices).max() < 0.01
        sides = np.frombuffer(base64.b64decode(kept["triangles"]), dtype="<u4").reshape(-1, 3)
        assert np.array_equal(sides, part.surface.triangles)
        assert kept["moves"] is (part.kind in ("piece", "tumour"))


def test_without_a_way_out_the_piece_is_only_shown_apart_and_said_so(made_up, scene) -> None:
    """Danger: a picture read as a promise."""
    for audience, words in ((Audience.TEACHING, "This is no way out"),
                            (Audience.CONSENT, "it does not come out like this")):  # fmt: skip
        data = data_in(page_of(made_up, scene, audience))
        assert data["steps"][-1]["id"] == "apart" and words in data["steps"][-1]["words"][0]
        first, last = (np.array(pose).reshape(4, 4) for pose in data["poses"])
        assert np.array_equal(first, np.eye(4))
        lifted = scene.vertebra.lps_from_vertebra.inverse.vectors(last[:3, 3])[0]
        assert lifted == pytest.approx([0.0, 75.0, 0.0], abs=1e-3)  # straight back
        turned = np.diag([-1.0, -1.0, 1.0, 1.0])
        data = data_in(page_of(made_up, scene, audience, poses=(np.eye(4), turned)))
        assert data["steps"][-1]["id"] == "out"
        assert np.array_equal(np.array(data["poses"][1]).reshape(4, 4), turned)
        assert words not in "".join(data["steps"][-1]["words"])


def test_a_way_out_that_is_not_sure_is_said_to_the_person(made_up, scene, monkeypatch) -> None:
    """Danger: a false yes at the sac, and a prediction read as a promise."""
    document = made_up.document()
    for answer, is_said in (("yes", False), ("cannot_tell", True), ("no", True)):
        with_answer = document | {"way_out": {"answer": answer, "words": "W."}}
        monkeypatch.setattr(made_up, "document", lambda found=with_answer: found)
        for poses in ((), (np.eye(4), np.diag([-1.0, -1.0, 1.0, 1.0]))):
            page = page_of(made_up, scene, Audience.CONSENT, poses=poses)
            assert ("It could not be shown" in words_in(page)) is is_said


def test_what_must_not_be_overlooked_stands_first(made_up, scene) -> None:
    from dataclasses import replace

    def headed(audience: Audience) -> list[str]:
        header = re.findall(r"<header>.*?</header>", page_of(made_up, scene, audience), re.S)[0]
        return re.findall(r'<p class="must">(.*?)</p>', header)

    assert not any("UNCONFIRMED" in one for one in headed(Audience.CONSENT))
    made_up.confirmation = replace(made_up.confirmation, confirmed_by=None)
    patch = np.zeros((1, 3, 3))
    made_up.replan(
        tumour_left=TumourLeft(by_place_ml={"behind the caudal cut": 1.4}, total_ml=1.4),
        contamination=(
            Contamination(
                how=OpensTumour.CUT, name="caudal cut", deepest=np.zeros(3), deepest_in_words="x",
                area_mm2=12.0, volume_ml=0.1, triangles=patch,
            ),
        ),
    )  # fmt: skip
    plain = headed(Audience.CONSENT)
    assert plain[0].startswith("UNCONFIRMED") and len(plain) == 3
    assert "does not come out" in plain[1] and "cannot be left unopened" in plain[2]
    full = headed(Audience.TEACHING)
    assert full[0].startswith("UNCONFIRMED") and any("1.4 ml" in one for one in full)


def test_the_person_reads_plain_words_and_the_trainee_all_of_them(made_up, scene) -> None:
    plain = words_in(page_of(made_up, scene, Audience.CONSENT))
    full = words_in(page_of(made_up, scene, Audience.TEACHING))
    for word in ("endplate", "dissected", "kerf", "piecemeal", "sector", "caudal", "margin"):
        assert word not in plain, word
    assert "endplate" in full and "(dissected)" in full
    faces = [f for f in made_up.document()["resection"]["faces"] if f["kind"] == "bone"]
    assert all(face["name"] in full for face in faces)
    assert not [line for line in full.splitlines() if line.rstrip().endswith(",")]
    thinnest = min(face["margin_mm"] for face in faces)
    assert f"{thinnest:.1f} mm at its thinnest" in plain


def test_blades_stand_out_of_the_bone_in_their_own_plane(scene) -> None:
    """By hand: each sheet is flat, in its face's plane, and larger than the face."""
    blades = blade_surface(scene.plan)
    assert isinstance(blades, TriangleSurface) and not blades.is_closed
    flat = [one.face for one in scene.plan.faces if one.face is not None and not one.face.is_empty]
    for face in flat:
        local = face.lps_from_plane.inverse.points(blades.vertices)
        in_plane = local[np.abs(local[:, 2]) < 1e-6]
        reach = np.ptp(np.concatenate(face.loops), axis=0)
        assert np.all(np.ptp(in_plane[:, :2], axis=0) > 1.2 * reach)


def test_a_saved_plan_reads_back_as_the_one_computed(made_up) -> None:
    """What an export compares must survive being written and read: else none would go out."""
    document = made_up.document()
    saved = json.loads(plan_json(document))
    assert differing(document, saved) == []
    saved["resection"]["piece"]["volume_ml"] += 0.01
    assert differing(document, saved) == ["resection"]


def test_a_tumour_on_both_sides_is_said_so() -> None:
    assert player_words._side_words("left") == "mostly on the left"
    assert player_words._side_words("both") == "on both sides"
