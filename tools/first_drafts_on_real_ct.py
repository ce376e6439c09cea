"""Draft all structures of the real CT from scripted clicks; print rows for docs/first-drafts.md.

``python tools/first_drafts_on_real_ct.py [PARTS]`` with PARTS of vertebrae, ribs, soft. The
clicks are scripted from the labels: the deepest point of a label, the aorta's two far ends.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

REPOSITORY = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(REPOSITORY / "tools"))

import thorax_ct  # noqa: E402

from vertebloc.anatomy.contours import LabelMap  # noqa: E402
from vertebloc.anatomy.levels import Level  # noqa: E402
from vertebloc.anatomy.structures import Contour, Structure  # noqa: E402
from vertebloc.errors import InputError  # noqa: E402
from vertebloc.exchange.nifti import read_nifti_labels, read_nifti_volume  # noqa: E402
from vertebloc.outlining.first_drafts.agreement import compare, strokes_to_mend  # noqa: E402
from vertebloc.outlining.first_drafts.aorta import draft_vessel  # noqa: E402
from vertebloc.outlining.first_drafts.ribs import draft_rib  # noqa: E402
from vertebloc.outlining.first_drafts.skeleton import draft_bone  # noqa: E402
from vertebloc.outlining.first_drafts.soft import draft_lung  # noqa: E402
from vertebloc.outlining.first_drafts.spine import draft_vertebrae  # noqa: E402
from vertebloc.space.frames import Side  # noqa: E402
from vertebloc.space.grids import Volume  # noqa: E402
from vertebloc.space.transforms import Points  # noqa: E402

THORACIC = [Level(f"T{n}") for n in range(1, 13)]
BONES = ("vertebra", "rib", "sternum", "scapula", "humerus")
Mask = NDArray[np.bool_]


class RealCt:
    """The CT, its labels and what is asked of them."""

    def __init__(self, folder: Path) -> None:
        self.ct = read_nifti_volume(folder / "ct.nii.gz")
        self.labels: LabelMap
        self.labels, _ = read_nifti_labels(folder / "labels.nii.gz", folder / "labels.json")
        self.spacing = self.ct.grid.spacing_mm

    def mask(self, *wanted: Contour) -> Mask:
        """Voxels of outlines together."""
        values = [v for c in wanted for v in self.labels.values_of(c)]
        return np.isin(self.labels.volume.values, values)

    def of(self, *words: str) -> Mask:
        """Voxels of all outlines of some structures, such as ``rib`` or ``heart``."""
        named = self.labels.names.values()
        return self.mask(*(c for cs in named for c in cs if c.structure.value in words))

    def full(self, piece: Volume) -> Mask:
        """A draft on the whole grid."""
        out = np.zeros(self.ct.grid.shape, dtype=bool)
        origin = piece.grid.lps_from_ijk.origin
        start = np.rint(self.ct.grid.lps_from_ijk.inverse.points(origin)[0]).astype(int)
        box = tuple(slice(a, a + n) for a, n in zip(start, piece.values.shape, strict=True))
        out[box] = piece.values
        return out

    def deepest(self, mask: Mask) -> Points:
        """The point of a mask that lies farthest from its surface: the scripted click."""
        box = ndimage.find_objects(mask.astype(np.uint8))[0]
        depth = ndimage.distance_transform_edt(np.pad(mask[box], 1), sampling=self.spacing)
        at = np.array(np.unravel_index(int(np.argmax(depth)), depth.shape)) - 1.0
        start = np.array([r.start for r in box], dtype=np.float64)
        return self.ct.grid.lps_from_ijk.points(at + start)[0]

    def far_ends(self, mask: Mask) -> tuple[Points, Points]:
        """Inside a tube at both its ends, which lie farthest apart along it."""
        from vertebloc.outlining.first_drafts._kernels import grow

        labels, _ = ndimage.label(mask)
        largest = labels == 1 + int(np.argmax(np.bincount(labels.ravel())[1:]))
        box = ndimage.find_objects(largest.astype(np.uint8))[0]
        inner = ndimage.binary_erosion(largest[box], iterations=2)
        labels, _ = ndimage.label(inner)
        inner = labels == 1 + int(np.argmax(np.bincount(labels.ravel())[1:]))
        found = [tuple(np.argwhere(inner)[0])]
        for _ in range(2):
            seeds = np.zeros(inner.shape, dtype=np.int32)
            seeds[found[-1]] = 1
            arrival = grow(inner.astype(np.float32), seeds, np.zeros(2, dtype=np.float32))[0]
            arrival[~np.isfinite(arrival)] = -1.0
            found.append(np.unravel_index(int(np.argmax(arrival)), arrival.shape))
        start = np.array([r.start for r in box], dtype=np.float64)
        ends = [self._inside_near(largest[box], np.array(f)) + start for f in found[1:]]
        places = self.ct.grid.lps_from_ijk.points(np.array(ends))
        return places[0], places[1]

    def _inside_near(self, mask: Mask, at: Points) -> Points:
        """The deepest voxel within 12 mm: nobody clicks on a vessel's rim."""
        depth = ndimage.distance_transform_edt(np.pad(mask, 1), sampling=self.spacing)
        depth = depth[1:-1, 1:-1, 1:-1]
        cells = np.argwhere(mask)
        near = cells[np.linalg.norm((cells - at) * self.spacing, axis=1) <= 12.0]
        return near[np.argmax(depth[tuple(near.T)])].astype(np.float64)


def crop(a: Mask, b: Mask) -> tuple[Mask, Mask]:
    """Both masks on their common box with a rim of ten voxels."""
    box = ndimage.find_objects((a | b).astype(np.uint8))[0]
    wide = tuple(slice(max(r.start - 10, 0), r.stop + 10) for r in box)
    return a[wide], b[wide]


def row(real: RealCt, name: str, draft: Mask, reference: Mask, *, strokes: bool) -> str:
    """One line of the table."""
    a, b = crop(draft, reference)
    found = compare(a, b, real.spacing)
    needed = str(strokes_to_mend(a, b, real.spacing)) if strokes else ""
    ml = float(np.prod(real.spacing)) * 1e-3
    line = (
        f"| {name} | {found.dice:.3f} | {found.mean_mm:.2f} | {found.most_mm:.1f} | "
        f"{draft.sum() * ml:.1f} | {reference.sum() * ml:.1f} | {needed} |"
    )
    print(line, flush=True)
    return line


def failed(name: str, error: Exception) -> str:
    """A line that says why there is no draft."""
    line = f"| {name} | refused: {error} | | | | | |"
    print(line, flush=True)
    return line


@dataclass(frozen=True)
class Part:
    """What one part of the measurement found."""

    lines: list[str]  #: rows of its table
    words: str = ""
    seconds: int = 0  #: of processor time


def vertebrae(real: RealCt) -> Part:
    """All twelve at once, each from one click."""
    masks = {level: real.mask(Contour(Structure.VERTEBRA, level)) for level in THORACIC}
    places = {level: real.deepest(mask) for level, mask in masks.items()}
    start, cpu = time.perf_counter(), time.process_time()
    lines = []
    try:
        drafts = draft_vertebrae(real.ct, places)
    except InputError as error:
        lines.append(failed("T1-T12 together", error))
        del masks[Level("T1")], places[Level("T1")]
        drafts = draft_vertebrae(real.ct, places)
    took = time.perf_counter() - start, time.process_time() - cpu
    print(f"T1-T12 together: {took[0]:.0f} s, {took[1]:.0f} s of processor time", flush=True)
    lines += [
        row(real, str(level), real.full(drafts.masks[level]), mask, strokes=True)
        for level, mask in masks.items()
    ]
    cord, canal = real.of("spinal cord"), real.full(drafts.canal)
    heights = canal.any(axis=(0, 1))
    held = (cord & canal).sum() / (cord & heights[None, None, :]).sum()
    other = real.of("vertebra") & canal
    words = (
        f"No canal is labelled. The canal's draft holds {100 * held:.1f} % of the label "
        f"*spinal cord* at its heights; {100 * other.sum() / canal.sum():.1f} % of it is "
        "labelled as vertebra."
    )
    return Part(lines, words, round(took[1]))


def alone(real: RealCt) -> Part:
    """Each vertebra from its own click only."""
    lines = []
    for level in THORACIC:
        mask = real.mask(Contour(Structure.VERTEBRA, level))
        try:
            draft = draft_vertebrae(real.ct, {level: real.deepest(mask)})
        except InputError as error:
            lines.append(failed(str(level), error))
            continue
        lines.append(row(real, str(level), real.full(draft.masks[level]), mask, strokes=False))
    return Part(lines)


def ribs(real: RealCt) -> Part:
    """Each rib from its own click."""
    lines = []
    for level in THORACIC:
        for side in (Side.LEFT, Side.RIGHT):
            contour = Contour(Structure.RIB, level, side)
            mask = real.mask(contour)
            if not mask.any():
                continue
            try:
                draft = draft_rib(real.ct, real.deepest(mask))
            except InputError as error:
                lines.append(failed(contour.words, error))
                continue
            lines.append(row(real, contour.words, real.full(draft), mask, strokes=False))
    return Part(lines)


def soft(real: RealCt) -> Part:
    """Lungs, aorta and all bone."""
    lines = []
    named = [c for cs in real.labels.names.values() for c in cs]
    for side in (Side.LEFT, Side.RIGHT):
        lobes = [c for c in named if c.structure is Structure.LUNG_LOBE and c.side is side]
        mask = real.mask(*lobes)
        lines.append(
            _try(
                real,
                f"{side.value} lung",
                mask,
                lambda m=mask: draft_lung(real.ct, real.deepest(m)),
            )
        )
    mask = real.of("aorta")
    lines.append(_try(real, "aorta", mask, lambda: draft_vessel(real.ct, *real.far_ends(mask))))
    bones = real.of(*BONES)
    t8 = real.mask(Contour(Structure.VERTEBRA, Level("T8")))
    try:
        draft = real.full(draft_bone(real.ct, real.deepest(t8)))
    except InputError as error:
        return Part([*lines, failed("all bone", error)])
    lines.append(row(real, "all bone", draft, bones, strokes=False))
    said = [
        f"{100 * (draft & (mask := real.of(name))).sum() / mask.sum():.1f} % of the label "
        f"*{name}* was drafted as bone."
        for name in ("aorta", "heart", "superior vena cava")
    ]
    missed = 100 * (bones & ~draft).sum() / bones.sum()
    return Part(lines, " ".join([*said, f"{missed:.1f} % of labelled bone was missed."]))


def _try(real: RealCt, name: str, mask: Mask, make: Callable[[], Volume]) -> str:
    try:
        return row(real, name, real.full(make()), mask, strokes=False)
    except InputError as error:
        return failed(name, error)


PARTS: dict[str, Callable[[RealCt], Part]] = {
    "vertebrae": vertebrae, "ribs": ribs, "soft": soft, "alone": alone,
}  # fmt: skip
STORE = REPOSITORY / "docs" / "data" / "first-drafts.json"
TEMPLATE = REPOSITORY / "tools" / "first_drafts_page.md"
PAGE = REPOSITORY / "docs" / "first-drafts.md"


def write_page() -> None:
    """The page from what was measured; parts that were not run anew keep their rows."""
    kept = json.loads(STORE.read_text(encoding="utf-8"))
    text = TEMPLATE.read_text(encoding="utf-8")
    for part, found in kept.items():
        text = text.replace(f"{{{part}}}", "\n".join(found["lines"]))
        for key in ("day", "seconds", "words"):
            text = text.replace(f"{{{part}_{key}}}", str(found.get(key, "")))
    PAGE.write_text(text, encoding="utf-8")


def main() -> int:
    """Measure the parts asked for (``page``: none), then write the page anew."""
    wanted = sys.argv[1:] or ["vertebrae", "ribs", "soft"]
    if wanted != ["page"]:
        real = RealCt(thorax_ct.find_or_fetch())
        for part in wanted:
            print(f"== {part}", flush=True)
            found = PARTS[part](real)
            kept = json.loads(STORE.read_text(encoding="utf-8"))
            kept[part] = {"day": f"{datetime.now(UTC):%Y-%m-%d}", **asdict(found)}
            STORE.write_text(
                json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
            )
    write_page()
    return 0


if __name__ == "__main__":
    sys.exit(main())
