"""TPO and BAPO in poly(ethylene glycol) diacrylate films: open data of the Nordin group (2015, 2017, 2020).

Transmission of 60-93 um films. Film thickness and concentration are uncertain, so one series fixes the shape and not
the scale (the three BAPO series differ by a factor of two): one free scale per series, which must stay between 0.6
and 1.3, and then a root-mean-square residual below 5 % of the maximum.
"""

import numpy as np
import pytest

from gelwright.models.materials import photoinitiator

WAVELENGTH_NM = np.array([345.0, 355, 365, 375, 385, 395, 405, 415, 425])
SERIES = {
    ("TPO", 2017): [239.2, 285.7, 387.5, 415.6, 404.3, 325.7, 196.5, 32.1, 5.1],
    ("BAPO", 2015): [669.6, 597.3, 639.1, 642.9, 568.8, 468.8, 382.8, 265.6, 114.0],
    ("BAPO", 2017): [944.9, 810.5, 930.1, 901.2, 773.6, 703.2, 569.1, 334.5, 179.5],
    ("BAPO", 2020): [1248.0, 1085, 1279, 1194, 1015, 905.7, 759.9, 435.6, 229.8],
}


@pytest.mark.parametrize(("key", "year"), SERIES)
def test_shape_of_film_spectra(key: str, year: int) -> None:
    measured = np.array(SERIES[key, year])
    model = photoinitiator(key).absorption.at(WAVELENGTH_NM) * 10
    scale = model @ measured / (model @ model)
    assert 0.6 < scale < 1.3
    assert np.sqrt(np.mean((measured - scale * model) ** 2)) < 0.05 * measured.max()


def test_mean_scale_of_the_bapo_series_is_that_of_the_model() -> None:
    # geometric mean of three series, each +-35 %: 20 %
    model = photoinitiator("BAPO").absorption.at(WAVELENGTH_NM) * 10
    scales = [model @ np.array(SERIES["BAPO", year]) / (model @ model) for year in (2015, 2017, 2020)]
    assert np.exp(np.mean(np.log(scales))) == pytest.approx(1.0, abs=0.2)
