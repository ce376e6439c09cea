"""Blood volume and allowable loss against worked examples outside of the project.

Volumes: the published equation worked by hand (mdapp.co quotes it). Losses: 1867 ml from 5600 ml,
0.42 to 0.30 (primecalcpro.com, Gross); 1300 ml from 3900 ml, 0.45 to 0.30 (pharmacalculation.com,
plain). The exact formula solves dH/dL = -H/V; it is integrated here by steps.
"""

from __future__ import annotations

import pytest

from vertebloc.errors import InputError
from vertebloc.reports.role_anaesthesia import volume_words
from vertebloc.surgery_day import (
    Sex,
    allowable_loss_by_mean_ml,
    allowable_loss_exact_ml,
    allowable_loss_plain_ml,
    blood_volume_ml,
)


@pytest.mark.parametrize(
    ("sex", "height_cm", "weight_kg", "litres"),
    [
        (Sex.MALE, 175, 70, 4.8238),
        (Sex.MALE, 180, 80, 5.3191),
        (Sex.FEMALE, 165, 60, 3.7677),
        (Sex.FEMALE, 160, 50, 3.2959),
    ],
)
def test_blood_volume(sex, height_cm, weight_kg, litres):
    found = blood_volume_ml(sex, height_cm=height_cm, weight_kg=weight_kg)
    assert found == pytest.approx(1000 * litres, abs=0.06)  # the examples give 4 decimals of a l


@pytest.mark.parametrize(
    ("volume", "before", "least", "by_mean", "exact", "plain"),
    [
        (5600, 0.42, 0.30, 1866.67, 1884.24, 1600.0),
        (5000, 0.45, 0.30, 2000.0, 2027.33, 1666.67),
        (3900, 0.45, 0.30, 1560.0, 1581.31, 1300.0),
    ],
)
def test_allowable_loss(volume, before, least, by_mean, exact, plain):
    how = {"before": before, "least": least}
    assert allowable_loss_by_mean_ml(volume, **how) == pytest.approx(by_mean, abs=0.01)
    assert allowable_loss_exact_ml(volume, **how) == pytest.approx(exact, abs=0.01)
    assert allowable_loss_plain_ml(volume, **how) == pytest.approx(plain, abs=0.01)


def test_the_exact_loss_is_what_bleeding_by_the_drop_gives():
    """Each drop takes its share of cells and is replaced by volume without any."""
    volume, haematocrit, drop, lost = 5000.0, 0.45, 0.05, 0.0
    while haematocrit > 0.30:
        haematocrit *= 1.0 - drop / volume
        lost += drop
    assert allowable_loss_exact_ml(volume, before=0.45, least=0.30) == pytest.approx(lost, abs=0.1)


@pytest.mark.parametrize("weight_kg", [35.0, 0.0, float("nan")])
def test_nobody_is_reckoned_outside_of_the_equation(weight_kg):
    with pytest.raises(InputError, match="weight_kg is"):
        blood_volume_ml(Sex.MALE, height_cm=170, weight_kg=weight_kg)


@pytest.mark.parametrize(("before", "least"), [(0.3, 0.4), (42, 30), (0.4, 0.0)])
def test_haematocrits_that_cannot_be_meant_are_refused(before, least):
    with pytest.raises(InputError, match="haematocrit"):
        allowable_loss_exact_ml(5000.0, before=before, least=least)


def test_only_what_the_team_said_is_computed():
    said = {"sex": "male", "height_cm": 175.0, "weight_kg": 70.0,
            "haematocrit_percent": 0.0, "haematocrit_least_percent": 0.0}  # fmt: skip
    assert volume_words(said) == ("175 cm, 70 kg, male: blood volume 4824 ml.",)
    assert volume_words(said | {"sex": ""}) == ()
    both = volume_words(said | {"haematocrit_percent": 42.0, "haematocrit_least_percent": 30.0})
    assert "allowable loss 1608 ml" in both[1]  # 4823.8 x 0.12 / 0.36
    assert "use" not in volume_words(said | {"weight_kg": 20.0})[0]
    assert "local protocol" in volume_words(said | {"weight_kg": 20.0})[0]
