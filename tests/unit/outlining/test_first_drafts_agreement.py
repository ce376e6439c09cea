"""How drafts are measured: against SimpleITK and closed forms."""

import numpy as np
import pytest
import SimpleITK

from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.agreement import compare, strokes_to_mend

SPACING = (0.7, 0.9, 2.5)


def blob(rng: np.random.Generator, centre: tuple[float, float, float]) -> np.ndarray:
    """A bumpy ball."""
    index = np.indices((40, 36, 20)).reshape(3, -1).T * SPACING - np.array(centre)
    bumps = 9.0 + rng.normal(0.0, 0.8, len(index))
    return (np.linalg.norm(index, axis=1) < bumps).reshape(40, 36, 20)


def image(mask: np.ndarray) -> SimpleITK.Image:
    made = SimpleITK.GetImageFromArray(mask.astype(np.uint8).transpose(2, 1, 0))
    made.SetSpacing(SPACING)
    return made


def test_dice_and_surface_distances_as_simpleitk_measures_them(rng: np.random.Generator) -> None:
    """LabelOverlapMeasures, and Maurer's distance map read on LabelContour's voxels."""
    a, b = blob(rng, (14.0, 15.0, 24.0)), blob(rng, (15.5, 16.0, 27.0))
    found = compare(a, b, SPACING)
    overlap = SimpleITK.LabelOverlapMeasuresImageFilter()
    overlap.Execute(image(a), image(b))
    assert found.dice == pytest.approx(overlap.GetDiceCoefficient(1), abs=1e-12)
    apart = []
    for one, other in ((a, b), (b, a)):
        rims = [
            SimpleITK.GetArrayFromImage(SimpleITK.LabelContour(image(m))) > 0 for m in (one, other)
        ]
        to_other = SimpleITK.SignedMaurerDistanceMap(
            image(rims[1].transpose(2, 1, 0)), squaredDistance=False, useImageSpacing=True
        )
        apart.append(np.abs(SimpleITK.GetArrayFromImage(to_other))[rims[0]])
    both = np.concatenate(apart)
    assert found.mean_mm == pytest.approx(both.mean(), abs=1e-5)  # its map is float32
    assert found.most_mm == pytest.approx(np.percentile(both, 95.0), abs=1e-5)


def test_a_shifted_box_is_as_far_as_it_was_shifted() -> None:
    """Closed form: two faces lie 2 voxels of 0.7 mm apart, the four others on each other."""
    a = np.zeros((30, 20, 10), dtype=bool)
    a[5:15, 5:15, 2:8] = True
    found = compare(a, np.roll(a, 2, axis=0), SPACING)
    assert found.dice == pytest.approx(0.8)
    assert found.most_mm == pytest.approx(1.4)


def test_nothing_agrees_with_an_empty_outline() -> None:
    with pytest.raises(InputError, match="empty"):
        compare(np.zeros((3, 3, 3), dtype=bool), np.ones((3, 3, 3), dtype=bool), SPACING)


def test_a_missing_ball_takes_one_stroke_and_a_superfluous_one_another() -> None:
    index = np.indices((60, 60, 60)).reshape(3, -1).T.astype(float)

    def ball(centre: tuple[float, float, float]) -> np.ndarray:
        far = np.linalg.norm(index - np.array(centre), axis=1)
        return (far <= 8.0).reshape(60, 60, 60)

    one, two, wrong = ball((15, 15, 15)), ball((15, 15, 45)), ball((45, 45, 30))
    ones = (1.0, 1.0, 1.0)
    assert strokes_to_mend(one | two, one | two, ones, wanted_dice=0.999) == 0
    assert strokes_to_mend(one, one | two, ones, wanted_dice=0.999) == 1
    assert strokes_to_mend(one | wrong, one | two, ones, wanted_dice=0.999) == 2
    assert strokes_to_mend(wrong, one | two, ones, wanted_dice=0.999, most=1) == 2  # gave up
