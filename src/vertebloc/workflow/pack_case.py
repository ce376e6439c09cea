"""Pack a case for a colleague who need not know whose it is."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from vertebloc.anatomy.structures import Contour
from vertebloc.case.choices import Choices, SidesChoice
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_transaction import Transaction
from vertebloc.exchange.choices_file import render_choices
from vertebloc.exchange.drawn_outlines import put_drawn, read_drawn
from vertebloc.exchange.names_file import NamesFile, read_names_file, write_names_file
from vertebloc.exchange.nifti import read_nifti_labels, write_nifti
from vertebloc.exchange.surface_files import read_surfaces, write_ply
from vertebloc.exchange.zip_folder import zip_folder
from vertebloc.outlining.record import (
    AFTER_TREATMENT,
    DrawnOutline,
    OutlineRecord,
    Signature,
    is_fence,
)
from vertebloc.space.grids import Grid
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices, load_ct

REMOVED = "removed for passing on"
_WORDS_REMOVED = "free text of the names file; words that are the writer's own became numbers"
_DRAWN_REMOVED = (
    "who drew and who confirmed outlines, and when; their changes; fences: in the copy drawn "
    "outlines are drafts"
)
NOT_GUARANTEED = (
    "text burned into the images' pixels, and a face or a rare anatomy that can be recognised, "
    "are NOT removed: look at the images before you pass them on"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PackReport:
    """Where the packed case lies, and what was taken out of it."""

    path: Path
    removed: tuple[str, ...]
    not_guaranteed: str = NOT_GUARANTEED


def pack_case(case_dir: Path, target: Path) -> PackReport:
    """Write a copy of a case that names nobody into a zip file.

    Parameters
    ----------
    case_dir : Path
        The case; it stays as it is.
    target : Path
        The zip file to make.

    Returns
    -------
    PackReport
        What was removed, in lines for people.

    Raises
    ------
    InputError
        If there is no case or no image in it, or the target exists.
    """
    case = CaseFolder.open(case_dir)
    if not case.has("ct"):
        raise InputError(f"{case_dir} holds no images: there is nothing to pass on")
    if target.exists():
        raise InputError(f"{target} exists already: give another name")
    removed = [
        "name, date of birth and number",
        "series and study identifiers, description and contrast text of the images",
        "private tags: none were ever taken into the case",
        "journal, history of choices, plan, pictures and sheets (plan again to make new ones)",
    ]
    if case.has("second"):
        removed.append("the second scan, where it lies and who confirmed it")
    choices, taken = _without_names(load_choices(case))
    removed += taken
    with tempfile.TemporaryDirectory() as aside:
        folder = Path(aside) / "case"
        now = read_clock()
        copy = CaseFolder.create(folder, now)
        with copy.transaction(now=now, what="packed", restamp=Restamper(copy)) as change:
            ct = load_ct(case)
            change.put_file("ct", "ct.nii", lambda path: write_nifti(path, ct))
            change.put_json("series", "series.json", _facts(case))
            own = _OwnWords()
            removed += _put_contours(case, change, Path(aside), own)
            change.put_choices(render_choices(choices, {}))
        if case.has("drawn"):
            removed.append(_DRAWN_REMOVED)
            with copy.transaction(now=now, what="packed", restamp=Restamper(copy)) as change:
                _put_drawn(case, change, ct.grid, copy.hash_of("ct"), own)
        zip_folder(folder, target)
    return PackReport(path=target, removed=tuple(removed))


def _facts(case: CaseFolder) -> dict[str, object]:
    """What planning needs to know of the series, and nothing that says whose it is."""
    facts = case.json_of("series")
    return {
        "source": REMOVED,
        "series_uid": "",
        "study_uid": "",
        "study_id": "",
        "frame_of_reference_uid": "",
        "description": REMOVED,
        "tube_voltage_kv": facts.get("tube_voltage_kv"),
        "contrast": REMOVED if facts.get("contrast") else "",
        "left_out": [],
        "tolerated": [],
    }


def _put_drawn(
    case: CaseFolder, change: Transaction, grid: Grid, ct_hash: str, own: _OwnWords
) -> None:
    """Drawn outlines as nobody's drafts, without what led to them."""
    nobody = OutlineRecord(drawn_by=(Signature(name=REMOVED, time=""),))
    drawn = {
        (contour := own.replaced(outline.contour)): DrawnOutline(
            contour=contour, mask=outline.mask, record=nobody
        )
        for outline in read_drawn(case, grid).values()
        if not is_fence(outline.contour)
    }
    put_drawn(change, grid, drawn, drawn, ct_hash=ct_hash)


def _put_contours(case: CaseFolder, change: Transaction, aside: Path, own: _OwnWords) -> list[str]:
    if case.has("labels"):
        labels, _ = read_nifti_labels(case.path_of("labels"), case.path_of("names"))
        names = read_names_file(case.path_of("names"))
        change.put_file("labels", "labels.nii.gz", lambda path: write_nifti(path, labels.volume))
        clean = NamesFile(
            labels={
                value: tuple(own.replaced(contour) for contour in meanings)
                for value, meanings in names.labels.items()
            }
        )
        change.put_file("names", "names.json", lambda path: write_names_file(path, clean))
        return [_WORDS_REMOVED]
    if case.has("surfaces"):
        surfaces, _ = read_surfaces(case.path_of("surfaces") / "names.json")
        listed = []
        for number, (contour, surface) in enumerate(surfaces.items(), 1):
            file = f"outline-{number}.ply"
            write_ply(aside / file, surface)
            data = (aside / file).read_bytes()
            change.put_bytes("surfaces", file, data)
            listed.append((file, own.replaced(contour)))
        write_names_file(aside / "names.json", NamesFile(surfaces=tuple(listed)))
        change.put_bytes("surfaces", "names.json", (aside / "names.json").read_bytes())
        return ["file names and comments of the outlines", _WORDS_REMOVED]
    return []


class _OwnWords:
    """Words for outlines that are nobody's but the writer's: each becomes a number."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def replaced(self, contour: Contour) -> Contour:
        """The same outline; two that were told apart by their words stay apart."""
        if contour.part in (None, AFTER_TREATMENT):
            return contour
        number = self._numbers.setdefault(str(contour.part), len(self._numbers) + 1)
        return replace(contour, part=f"outline {number}")


def _without_names(choices: Choices) -> tuple[Choices, list[str]]:
    """Choices without the names of people and their own words."""
    level, sides = choices.level, choices.sides
    taken = []
    if level.confirmed_by:
        taken.append("who confirmed the level: it is unconfirmed in the copy")
    if sides.confirmed_by:
        taken.append("who answers for left and right, and why")
    if choices.other_counts:
        taken.append("who counted in other series, and what these are called")
    if choices.overrides:
        taken.append("warnings set aside, by whom and why: in the copy they stand again")
    return (
        replace(
            choices,
            level=replace(level, confirmed_by="", confirmed_at=""),
            sides=SidesChoice(confirmed_by=REMOVED, reason=REMOVED)
            if sides.confirmed_by
            else sides,
            overrides=(),
            other_counts=tuple(
                replace(other, series=f"other series {number}", who=REMOVED)
                for number, other in enumerate(choices.other_counts, start=1)
            ),
        ),
        taken,
    )
