"""Plan a made-up tumour in T8 of the real thorax CT, as issue and README show it.

Usage: python tools/plan_real_ct.py FOLDER_WITH_THE_CT NEW_FOLDER [LEVEL]
The folder holds ct.nii.gz, labels.nii.gz and labels.json (see tools/thorax_ct.py). The tumour is
an ellipsoid: half axes 9 mm to the side, 9 mm front to back, 7 mm high; its middle 6 mm left of
the middle of the body of T8, or of another level.
"""

import sys
from pathlib import Path

from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import read_nifti_labels, write_nifti
from vertebloc.made_up import add_ellipsoid_tumour
from vertebloc.workflow import import_case, plan_case

T8 = Level("T8")


def with_tumour(labels, level=T8, left_mm=6.0, half_axes_mm=(9.0, 9.0, 7.0)):
    """The label map with the ellipsoid painted in, placed in the vertebra's own frame."""
    vertebra = describe_anatomy(ContourSet(labels), diseased=level).vertebrae[level]
    lps = vertebra.lps_from_vertebra
    middle = lps.points([left_mm, 0.0, 0.0])[0]
    return add_ellipsoid_tumour(labels, middle, lps.matrix[:3, :3].T, half_axes_mm)


def make_case(source: Path, target: Path, level: Level = T8) -> Path:
    """Write the contours with a tumour in one vertebra, and import them with the CT."""
    target.mkdir(parents=True)
    labels, _ = read_nifti_labels(source / "labels.nii.gz", source / "labels.json")
    ill, _ = with_tumour(labels, level)
    write_nifti(target / "contours.nii.gz", ill.volume)
    names = NamesFile(about="a real CT with a made-up tumour", labels=dict(ill.names))
    write_names_file(target / "contours.json", names)
    import_case(
        source / "ct.nii.gz",
        target / "case",
        labels=target / "contours.nii.gz",
        names=target / "contours.json",
        say=print,
    )
    return target / "case"


def main(source: Path, target: Path, level: Level = T8) -> None:
    """Make the case, plan it."""
    print(plan_case(make_case(source, target, level), say=print).document["answer"])


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), *map(Level.parse, sys.argv[3:]))
