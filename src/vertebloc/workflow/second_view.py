"""Both scans for the page: slices on demand, where they are centred, and the marked points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from vertebloc.alignment.region import neighbours_of
from vertebloc.anatomy.contours import mask_on_box
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.nifti import read_nifti_volume
from vertebloc.reports import second_pictures as pictures
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Transform
from vertebloc.workflow.lay_second import Second, moving_from_fixed
from vertebloc.workflow.load_case import load_choices, load_contours, load_ct


class SecondView:
    """The CT and the second scan of a case, read once."""

    def __init__(self, case_dir: Path) -> None:
        case = CaseFolder.open(case_dir)
        self.ct: Volume = load_ct(case)
        self.second: Volume = read_nifti_volume(case.path_of("second"))
        self._window = pictures.brightness_of(self.second)
        self._at_ct = pictures.planes_at(_middle_of_tumour(case, self.ct))
        self._at_second = pictures.planes_at(self.second.grid.corners().mean(axis=0))

    def describe(self, second: Second) -> dict[str, Any]:
        """What the page's script needs: planes, reach, marked points.

        Parameters
        ----------
        second : Second
            What is known of the second scan.

        Returns
        -------
        dict
            Plain values.
        """
        laid = bool(second.place.get("second_from_ct"))
        return {
            "laid": laid,
            "half": list(pictures.HALF_MM),
            "ct": {key: asdict(plane) for key, plane in self._at_ct.items()},
            "second": {
                key: asdict(plane)
                for key, plane in (self._at_ct if laid else self._at_second).items()
            },
            "pairs": [[list(p) for p in pair] for pair in second.place.get("pairs", ())],
        }

    def draw(self, what: str, plane: str, depth_mm: float, second: Second) -> bytes:
        """Draw one slice.

        Parameters
        ----------
        what : str
            ``ct``, ``second`` or ``edges``.
        plane : str
            ``side`` or ``across``.
        depth_mm : float, mm
            Towards the viewer from the middle of the tumour, or of the scan while it is not laid.
        second : Second
            Where the second scan lies.

        Returns
        -------
        bytes
            PNG.

        Raises
        ------
        InputError
            If there is no such picture.
        """
        if plane not in self._at_ct or what not in ("ct", "second", "edges"):
            raise InputError(f"there is no picture {what!r} {plane!r}")
        if what == "ct":
            return pictures.draw_ct(self.ct, self._at_ct[plane], depth_mm)
        if what == "edges":
            return pictures.draw_edges(self.ct, self._at_ct[plane], depth_mm)
        lies = moving_from_fixed(second.place)
        at = (self._at_ct if lies is not None else self._at_second)[plane]
        return pictures.draw_second(self.second, lies, at, depth_mm, self._window)

    def carry(self, second: Second, point: Sequence[float]) -> tuple[float, ...]:
        """A point clicked in the second scan's picture, in that scan's own LPS.

        Parameters
        ----------
        second : Second
            Where the second scan lies.
        point : (3,) float64, mm, patient LPS
            As the picture has it: of the CT once the scan is laid on it, else its own.

        Returns
        -------
        tuple of float, mm, patient LPS
            The point in the second scan.
        """
        lies: Transform | None = moving_from_fixed(second.place)
        if lies is None:
            return tuple(float(v) for v in point)
        return tuple(float(v) for v in lies.points(np.asarray(point, dtype=np.float64))[0])


def _middle_of_tumour(case: CaseFolder, ct: Volume) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Middle of the tumour, else of the diseased vertebra, else of the CT."""
    level = load_choices(case).level.diseased if case.choices_path.exists() else ""
    if not case.has("labels"):
        return np.asarray(ct.grid.corners().mean(axis=0))
    labels = load_contours(case).label_map
    assert labels is not None
    named = {contour for several in labels.names.values() for contour in several}
    bones: tuple[Contour, ...] = ()
    if level and any(contour.level == Level(level) for contour in named):
        bones = neighbours_of(labels, Level(level), 0)
    for wanted in ((Contour(Structure.TUMOUR),), bones):
        mask = mask_on_box(labels, wanted) if wanted else None
        if mask is not None:
            cells = np.argwhere(mask.values).astype(np.float64)
            return np.asarray(mask.grid.lps_from_ijk.points(cells).mean(axis=0))
    return np.asarray(ct.grid.corners().mean(axis=0))
