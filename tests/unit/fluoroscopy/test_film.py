"""Blur, noise and greys."""

import numpy as np
import pytest

from vertebloc.errors import InputError
from vertebloc.fluoroscopy import FilmSettings, expose, show_as_film


def test_noise_is_that_of_counted_rays(rng):
    """Poisson: the spread of ln N is 1 / sqrt(N), so of mm of water 1 / (mu sqrt(N))."""
    settings = FilmSettings(blur_mm=0.0, photons=1e6)
    found = expose(np.full((200, 200), 100.0), 0.5, settings, rng)
    arriving = 1e6 * 0.25 * 0.12745  # of 100 mm of water
    assert found.mean() == pytest.approx(100.0, abs=0.01)
    # 40 000 pixels: the spread itself is known to 0.4 %
    assert found.std() == pytest.approx(1.0 / (0.0206 * np.sqrt(arriving)), rel=0.02)


def test_same_seed_same_picture():
    one, two = (
        expose(np.full((9, 9), 50.0), 0.5, FilmSettings(), np.random.default_rng(3))
        for _ in range(2)
    )
    np.testing.assert_array_equal(one, two)
    other = expose(np.full((9, 9), 50.0), 0.5, FilmSettings(), np.random.default_rng(4))
    assert np.any(other != one)


def test_blur_is_as_wide_as_it_says(rng):
    """An edge seen through a Gaussian: from 12 to 88 % within one full width at half maximum."""
    from scipy.special import erf

    pitch, wide = 0.1, 1.5
    through = np.full((5, 201), 1.0)
    through[:, 100:] = 0.5
    waters = -np.log(through) / 0.0206
    found = np.exp(-0.0206 * expose(waters, pitch, FilmSettings(blur_mm=wide, photons=0.0), rng))
    share = (1.0 - found[2]) / 0.5
    place = (np.arange(201) - 99.5) * pitch
    sigma = wide / (2.0 * np.sqrt(2.0 * np.log(2.0)))
    expected = 0.5 * (1.0 + erf(place / sigma / np.sqrt(2.0)))
    assert np.max(np.abs(share - expected)) < 0.002


def test_bone_is_pale_and_air_dark():
    waters = np.full((60, 60), 100.0)
    waters[20:40, 20:40] = 140.0
    waters[:10] = 20.0
    grey = show_as_film(waters, 0.5, FilmSettings(even_out_mm=0.0))
    assert grey[30, 30] > grey[50, 50] > grey[2, 2]
    assert grey.min() >= 0.0 and grey.max() <= 1.0
    assert not show_as_film(np.full((4, 4), 3.0), 0.5, FilmSettings()).any()


def test_what_cannot_be_meant_is_refused():
    with pytest.raises(InputError, match="0 or more"):
        FilmSettings(blur_mm=-1.0)
    with pytest.raises(InputError, match="between 0 and 1"):
        FilmSettings(darkest=2.0)
