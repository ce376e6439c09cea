"""One file that plays a plan from disk: everything in it, nothing fetched."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.case.identity import Identity
from vertebloc.reports import palette
from vertebloc.reports import player_words as words
from vertebloc.reports.page_words import CAUTION
from vertebloc.reports.player_words import Audience
from vertebloc.resection.played_parts import PlayedPart
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform

#: The browser may load nothing but what stands in the file itself.
_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline' data:; style-src 'unsafe-inline'; "
    "img-src data:; base-uri 'none'; form-action 'none'"
)
_MOVES = ("piece", "tumour")
_BONES = ("bone", "rib", "vessel", "sac")
#: How far the piece is lifted to be shown apart, mm; no way out.
APART_MM = 75.0
_PATCH = {
    "bone": "#cfc4ac", "piece": palette.PIECE, "nibbled": palette.BONE_EDGE,
    "tumour": palette.TUMOUR, "sac": palette.SAC, "vessel": palette.VESSEL,
    "blade": palette.CUT_ON_NIGHT,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerScripts:
    """Text of the files that the page is made of."""

    look: str  #: CSS
    player: str
    maths: str
    solid: str  #: draws, as in the planning pages
    drawing_library: str
    notices: str  #: whose the drawing library is


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlayerScene:
    """What is played."""

    parts: tuple[PlayedPart, ...]
    lps_from_vertebra: Transform
    poses: tuple[NDArray[np.float64], ...]  #: (4, 4) each, patient LPS, mm; the first is the
    #: seat; empty: no way out is known, the piece is shown apart


def player_page(
    document: Mapping[str, Any],
    scene: PlayerScene,
    audience: Audience,
    scripts: PlayerScripts,
    identity: Identity | None = None,
) -> str:
    """Write the page.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    scene : PlayerScene
        What is drawn.
    audience : Audience
        Whose words.
    scripts : PlayerScripts
        From the package.
    identity : Identity or None
        The person, if the page shall name them.

    Returns
    -------
    str
        HTML.
    """
    data = _data(document, scene, audience)
    title = words.TITLES[audience].format(level=document["level"])
    person = ""
    if identity is not None:
        known = (identity.name, identity.birth_date, identity.number)
        person = f'<p class="about">{escape(" · ".join(one for one in known if one))}</p>'
    warnings = "".join(
        f'<p class="must">{escape(one)}</p>' for one in words.warnings(document, audience)
    )
    imports = {
        "three-drawing": scripts.drawing_library,
        "solid-drawing": scripts.solid,
        "player-maths": scripts.maths,
    }
    return "\n".join(
        (
            "<!doctype html>",
            '<html lang="en-GB"><head><meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f'<title>{escape(title)}</title><link rel="icon" href="data:,">',
            f"<!--\n{scripts.notices.replace('--', '- -')}\n-->",
            f"<style>{scripts.look}</style></head><body>",
            f"<header><h1>{escape(title)}</h1>{person}{warnings}"
            f'<p class="about">{escape(words.ABOUT[audience].format(code=document["code"]))}</p>'
            "</header>",
            _stage(),
            _side(scene, audience),
            _foot(document, audience),
            f'<script type="importmap">{_import_map(imports)}</script>',
            f'<script type="application/json" id="plan">{_in_script(data)}</script>',
            f'<script type="module">{scripts.player}</script>',
            "</body></html>",
        )
    )


def _stage() -> str:
    edges = "".join(f'<div class="edge" id="edge-{e}"></div>' for e in _EDGES)
    return (
        f'<section class="stage" id="stage" tabindex="0" role="img" '
        f'aria-label="{escape(words.BUTTONS["picture"])}"><canvas id="picture"></canvas>{edges}'
        f'<div class="scale"><div id="bar"></div>{words.BUTTONS["bar"]}</div>'
        f'<p class="edge" id="no-picture" hidden>{escape(words.BUTTONS["no_picture"])}</p>'
        "</section>"
    )


_EDGES = ("left", "right", "up", "down")


def _side(scene: PlayerScene, audience: Audience) -> str:
    table = words.KEY_PLAIN if audience is Audience.CONSENT else words.KEY
    kinds = {part.kind for part in scene.parts}
    key = "".join(
        f'<li><span class="patch" style="background:{_PATCH[kind]}"></span>{escape(said)}</li>'
        for kind, said in table.items()
        if kind in kinds
    )
    return (
        '<aside aria-live="polite"><h2 id="step-title"></h2><div id="step-words"></div>'
        f'<ul class="key">{key}</ul></aside>'
    )


def _foot(document: Mapping[str, Any], audience: Audience) -> str:
    named = "".join(
        f'<button type="button" data-view="{view}">{escape(said)}</button>'
        for view, said in words.VIEWS.items()
    )
    buttons = {
        name: f'<button type="button" id="{name}">{escape(words.BUTTONS[name])}</button>'
        for name in ("back", "play", "next", "home")
    }
    more = ""
    if audience is Audience.TEACHING:
        listed = "".join(f"<li>{escape(one)}</li>" for one in document["assumptions"])
        more = f"<details><summary>Assumed</summary><ul>{listed}</ul></details>"
    return (
        f'<footer><div class="steps">{buttons["back"]}{buttons["play"]}{buttons["next"]}'
        f'<input type="range" id="slider" min="0" max="1000" value="0" '
        f'aria-label="{escape(words.BUTTONS["slider"])}"><span id="place"></span></div>'
        f'<div class="steps">{named}{buttons["home"]}</div>'
        f"<p>{escape(words.BUTTONS['keys'])}</p>{more}<p>{escape(CAUTION)}</p></footer>"
    )


def _data(document: Mapping[str, Any], scene: PlayerScene, audience: Audience) -> dict[str, Any]:
    lps = scene.lps_from_vertebra
    left, back, head = (lps.axis(n) for n in range(3))
    piece = next(part.surface for part in scene.parts if part.kind == "piece")
    steps = _steps(document, scene, audience)
    return {
        "parts": [
            {
                "name": part.name,
                "kind": part.kind,
                "moves": part.kind in _MOVES,
                **_mesh(part.surface),
            }
            for part in scene.parts
        ],
        "steps": steps,
        "move_step": len(steps) - 1,
        "poses": [[round(float(x), 6) for x in pose.reshape(-1)] for pose in _poses(scene, back)],
        "views": {
            "behind": _view(-left, head, back),
            "side": _view(back, head, left),
            "front": _view(left, head, -back),
            "above": _view(-left, back, head),
            "slanted": _slanted(left, back, head),
        },
        "mm_per_pixel": 0.28,
        "centre": _list(lps.origin),
        "middle_of_piece": _list(piece.vertices.mean(axis=0)),
        "frame": {"left": _list(left), "back": _list(back), "head": _list(head)},
        "words": {
            "play": words.BUTTONS["play"],
            "pause": words.BUTTONS["pause"],
            "directions": words.DIRECTIONS[audience],
        },
    }


def _poses(scene: PlayerScene, back: NDArray[np.float64]) -> Sequence[NDArray[np.float64]]:
    if len(scene.poses) > 1:
        return scene.poses
    lifted = np.eye(4)
    lifted[:3, 3] = APART_MM * back
    return (np.eye(4), lifted)


def _steps(
    document: Mapping[str, Any], scene: PlayerScene, audience: Audience
) -> list[dict[str, Any]]:
    titles = words.STEP_TITLES[audience]
    last = "out" if len(scene.poses) > 1 else "apart"
    has_nibbled = any(part.kind == "nibbled" for part in scene.parts)
    if audience is Audience.TEACHING:
        said = words.teaching_steps(document)
        said["apart"] = (words.APART[audience], *said["out"])
    else:
        said = dict(words.PLAIN_STEPS)
        bone = [f["margin_mm"] for f in document["resection"]["faces"] if f["kind"] == "bone"]
        said["cuts"] = (*said["cuts"], words.plain_margin(min(bone)))
        not_sure = document.get("way_out", {}).get("answer", "yes") != "yes"
        unsure = (words.PLAIN_NOT_SURE,) if not_sure else ()
        said["apart"] = (words.APART[audience], *unsure)
        said["out"] = (*said["out"], *unsure)
    shows: tuple[str, ...] = (*_BONES, "piece", "tumour")
    steps: list[dict[str, Any]] = [
        {"shows": (*shows, "nibbled"), "plain": True, "id": "spine"},
        {"shows": (*shows, "nibbled", "blade"), "plain": True, "id": "cuts"},
        *([{"shows": (*shows, "nibbled"), "leaves": ("nibbled",), "id": "nibbled"}]
          if has_nibbled else []),
        {"shows": shows, "id": "piece"},
        {"shows": shows, "moves": True, "seconds": 8, "id": last},
    ]  # fmt: skip
    for step in steps:
        step["view"] = _BEST_VIEW[step["id"]]
        step["title"] = titles[step["id"]]
        step["words"] = [one for one in said[step["id"]] if one]
    steps[-1]["words"] += said["after"]
    return steps


#: From where each step is seen best.
_BEST_VIEW = {
    "spine": "behind",
    "cuts": "slanted",
    "nibbled": "slanted",
    "piece": "slanted",
    "apart": "slanted",
    "out": "above",
}


def _slanted(left: Any, back: Any, head: Any) -> dict[str, list[float]]:
    """From behind, a little from the left and from the head."""
    toward = 0.70 * back + 0.48 * left + 0.53 * head
    toward /= np.linalg.norm(toward)
    right = np.cross(head, toward)
    right /= np.linalg.norm(right)
    return _view(right, np.cross(toward, right), toward)


def _view(right: Any, up: Any, toward: Any) -> dict[str, list[float]]:
    return {"right": _list(right), "up": _list(up), "toward": _list(toward)}


def _mesh(surface: TriangleSurface) -> dict[str, Any]:
    """Corners as 16-bit shares of their box, in text."""
    low = surface.vertices.min(axis=0)
    step = np.maximum(np.ptp(surface.vertices, axis=0), 1e-6) / 65535.0
    shares = np.round((surface.vertices - low) / step).astype("<u2")
    return {
        "low": _list(low),
        "step": [float(x) for x in step],
        "corners": _base64(shares.tobytes()),
        "triangles": _base64(surface.triangles.astype("<u4").tobytes()),
    }


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _import_map(scripts: Mapping[str, str]) -> str:
    return json.dumps(
        {
            "imports": {
                name: f"data:text/javascript;base64,{_base64(script.encode('utf-8'))}"
                for name, script in scripts.items()
            }
        }
    )


def _in_script(data: Mapping[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, separators=(",", ":")).replace("</", "<\\/")


def _list(vector: Any) -> list[float]:
    return [round(float(x), 5) for x in vector]
