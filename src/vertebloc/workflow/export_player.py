"""A plan as one file that plays it from disk, for teaching or for the person and family."""

from __future__ import annotations

import importlib.util
from collections.abc import Mapping
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import vertebloc
from vertebloc.case.choices import Choices
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError, MissingBackendError
from vertebloc.exchange.aside import write_file_aside, write_folder_aside
from vertebloc.exchange.atomic import say_plainly
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.reports import export_words as words
from vertebloc.reports.player_page import PlayerScene, PlayerScripts, player_page
from vertebloc.reports.player_words import Audience
from vertebloc.resection.played_parts import played_parts
from vertebloc.way_out.poses import Tilt, moves_of
from vertebloc.workflow.export_contours import ExportReport
from vertebloc.workflow.load_case import load_identity
from vertebloc.workflow.planned_again import PlannedAgain, plan_again
from vertebloc.workflow.saying import Say, say_nothing

_STATIC = Path(vertebloc.__file__).parent / "app" / "static"
_SHORTEST = 4  #: letters of a name or number that is looked for in a page that names nobody


def export_player(
    case_dir: Path,
    folder: Path,
    audience: Audience,
    *,
    with_identity: bool = False,
    say: Say = say_nothing,
) -> ExportReport:
    """Write the file into a new folder; the case is only read.

    Parameters
    ----------
    case_dir : Path
        A planned case.
    folder : Path
        Where to; must not exist yet, or be empty.
    audience : Audience
        Whose words.
    with_identity : bool
        Name the person in it.
    say : callable
        Called before each long step.

    Returns
    -------
    ExportReport
        The file, and what must be known of it.

    Raises
    ------
    InputError
        If there is no current plan, the folder holds something, or the page would name the
        person though it shall not.
    """
    with say_plainly(f"write to {folder}"), write_folder_aside(folder) as aside:
        planned = plan_again(case_dir, say)
        say("writing the page")
        page = make_page(planned, audience, with_identity=with_identity)
        name = f"{words.file_prefix(planned.document)}{audience.value}.html"
        with write_file_aside(aside / name) as file:
            file.write(page.encode("utf-8"))
    return ExportReport(
        files=(folder / name,),
        lines=(
            f"written: {folder / name}",
            "open it in any browser; it fetches nothing",
            *words.plan_cautions(planned.document),
            words.NAMES_THE_PERSON if with_identity else words.NO_NAME,
        ),
    )


def make_page(planned: PlannedAgain, audience: Audience, *, with_identity: bool = False) -> str:
    """The page of a plan.

    Parameters
    ----------
    planned : PlannedAgain
        The plan.
    audience : Audience
        Whose words.
    with_identity : bool
        Name the person in it.

    Returns
    -------
    str
        HTML.

    Raises
    ------
    InputError
        If the page would name the person though it shall not.
    """
    prepared = planned.prepared
    scene = PlayerScene(
        parts=played_parts(prepared.solids, planned.plan),
        lps_from_vertebra=prepared.anatomy.vertebrae[prepared.level].lps_from_vertebra,
        poses=poses_of(planned.document.get("way_out")),
    )
    if with_identity:
        return player_page(
            planned.document, scene, audience, player_scripts(), load_identity(planned.case)
        )
    known = known_names(planned.case, planned.choices)
    page = player_page(without_names(planned.document, known), scene, audience, player_scripts())
    refuse_names(page, known)
    return page


def poses_of(way_out: Mapping[str, Any] | None) -> tuple[NDArray[np.float64], ...]:
    """The poses of a plan's way out, from the seat to the end.

    Parameters
    ----------
    way_out : mapping or None
        ``way_out`` of plan.json: its ``path`` holds (4, 4) matrices that move patient LPS, or
        moves in the frame of travel with ``lps_from_travel``.

    Returns
    -------
    tuple of (4, 4) float64, mm
        Empty if there is no way out to be played.

    Raises
    ------
    InputError
        If a pose is no motion.
    """
    path = (way_out or {}).get("path") or []
    if len(path) < 2:
        return ()
    found = []
    for one in path:
        if isinstance(one, Mapping):
            travel = np.asarray((way_out or {})["lps_from_travel"], dtype=np.float64)
            pose = travel @ _in_travel(one) @ np.linalg.inv(travel)
        else:
            pose = np.asarray(one, dtype=np.float64).reshape(4, 4)
        turn = pose[:3, :3]
        if np.abs(turn @ turn.T - np.eye(3)).max() > 1e-4 or np.linalg.det(turn) < 0:
            raise InputError("the plan's way out holds a pose that is no motion: plan again")
        found.append(pose)
    return tuple(found)


def _in_travel(one: Mapping[str, float]) -> NDArray[np.float64]:
    planar = np.array([[one["x_mm"], one["y_mm"], np.radians(one["turn_deg"])]])
    leaned = Tilt(
        about_x_deg=one["tilt_about_x_deg"],
        about_y_deg=one["tilt_about_y_deg"],
        lift_mm=one["lift_mm"],
    )
    return np.concatenate((moves_of(planar, leaned)[0], [[0.0, 0.0, 0.0, 1.0]]))


def known_names(case: CaseFolder, choices: Choices) -> dict[str, tuple[str, ...]]:
    """What a case knows of people: the person, the series, who signed what and why.

    Parameters
    ----------
    case : CaseFolder
        Knows the person and the series.
    choices : Choices
        Name who confirmed, counted or set a warning aside.

    Returns
    -------
    dict of str to tuple of str
        By what it is, in words. Short ones are left out: they occur in other words.
    """
    identity = load_identity(case)
    facts = case.json_of("series") if case.has("series") else {}
    uids = ("study_uid", "series_uid", "frame_of_reference_uid")
    known = {
        "the person's name": _spellings(identity),
        "the date of birth": (identity.birth_date, identity.birth_date.replace("-", "")),
        "the hospital's number": (identity.number,),
        "an identifier of the images": tuple(str(facts.get(uid) or "") for uid in uids),
        "who confirmed, counted or decided": (
            choices.level.confirmed_by,
            choices.sides.confirmed_by,
            choices.sides.reason,
            *(one.who for one in choices.other_counts),
            *(one.who for one in choices.overrides),
            *(one.reason for one in choices.overrides),
        ),
    }
    return {
        what: tuple(one.strip() for one in several if len(one.strip()) >= _SHORTEST)
        for what, several in known.items()
    }


def without_names(value: Any, known: Mapping[str, tuple[str, ...]]) -> Any:
    """The content of plan.json with what is known of people taken out of its words.

    Parameters
    ----------
    value : object
        The whole, or a part of it.
    known : mapping of str to tuple of str
        From ``known_names``.

    Returns
    -------
    object
        The same with ``(removed)`` in place of each.
    """
    if isinstance(value, Mapping):
        return {key: without_names(one, known) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [without_names(one, known) for one in value]
    if isinstance(value, str):
        for spelling in sorted((s for several in known.values() for s in several), key=len)[::-1]:
            value = value.replace(spelling, "(removed)")
    return value


def refuse_names(page: str, known: Mapping[str, tuple[str, ...]]) -> None:
    """Stop if a page that shall name nobody holds what the case knows of people.

    Parameters
    ----------
    page : str
        The whole page.
    known : mapping of str to tuple of str
        From ``known_names``.

    Raises
    ------
    InputError
        If it does.
    """
    for what, spellings in known.items():
        if any(one in page for one in spellings):
            raise InputError(
                f"the page would hold {what}, though it shall name nobody: look for it in the "
                "words of outlines and choices, or ask for --with-identity"
            )


def _spellings(identity: Identity) -> tuple[str, ...]:
    family, _, given = (part.strip() for part in identity.name.partition(","))
    return (identity.name, f"{given} {family}", f"{family} {given}", f"{family}^{given}")


def player_scripts() -> PlayerScripts:
    """The player's own files and the drawing library, as they are installed.

    Raises
    ------
    MissingBackendError
        If the drawing library is not there.
    """
    found = importlib.util.find_spec("nicegui")
    where = Path((found.submodule_search_locations or [""])[0]) if found else Path()
    library = where / "elements" / "scene" / "dist" / "index.js"
    if not library.is_file():
        raise MissingBackendError(
            "the drawing library of the pages is not where it was: install vertebloc anew"
        )
    lines = library.read_text("utf-8").splitlines()
    script = "\n".join(line for line in lines if not line.startswith("//# sourceMappingURL"))
    return PlayerScripts(
        look=(_STATIC / "player" / "player.css").read_text("utf-8"),
        player=(_STATIC / "player" / "player.mjs").read_text("utf-8"),
        maths=(_STATIC / "player" / "maths.mjs").read_text("utf-8"),
        solid=(_STATIC / "viewer" / "solid.mjs").read_text("utf-8"),
        drawing_library=script,
        notices=_notices(),
    )


def _notices() -> str:
    """Whose the drawing library is, and its licence as it came with it."""
    files = metadata.files("nicegui") or []
    licences = [one.read_text() for one in files if one.name.upper().startswith("LICENSE")]
    return (
        "The drawing library in this file: Three.js, copyright 2010-2025 Three.js Authors, MIT "
        "licence, with tween.js and stats.js (MIT), as bundled with NiceGUI, whose licence, in "
        f"the same words, follows.\n\n{licences[0] if licences else 'MIT'}"
    )
