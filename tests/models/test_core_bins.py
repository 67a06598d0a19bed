"""Where a spectrum is cut into bins: by the shape of the light only, the same whether worked out or kept."""

import numpy as np
import pytest

from gelwright.models.core_bins import _kept, _partition, least_error_bins

NM = np.linspace(360.0, 430.0, 71)
PHOTONS = np.exp(-(((NM - 385.0) / 9.0) ** 2)) + 0.4 * np.exp(-(((NM - 408.0) / 6.0) ** 2)) + 1e-6
ABSORPTION = np.stack([40.0 * np.exp(-(NM - 360.0) / 20.0), 90.0 / (1.0 + np.exp((NM - 395.0) / 4.0))])
MOST = np.array([1e-2, 2e-2])


@pytest.mark.parametrize("scale", [1.0, 1.05, 1.0 / 3.0, 7e-9])
def test_brighter_light_of_the_same_shape_is_cut_alike(scale: float) -> None:
    first = least_error_bins(PHOTONS, ABSORPTION, MOST, 12)
    kept = _kept.cache_info().currsize
    assert np.array_equal(least_error_bins(scale * PHOTONS, ABSORPTION, MOST, 12), first)
    assert _kept.cache_info().currsize == kept


def test_other_light_other_absorbers_and_other_counts_are_cut_afresh() -> None:
    first = least_error_bins(PHOTONS, ABSORPTION, MOST, 12)
    assert not np.array_equal(least_error_bins(PHOTONS[::-1], ABSORPTION, MOST, 12), first)
    assert not np.array_equal(least_error_bins(PHOTONS, ABSORPTION[::-1] + NM / 10.0, MOST, 12), first)
    assert least_error_bins(PHOTONS, ABSORPTION, MOST, 8).max() == 7


def test_what_is_kept_is_what_would_be_worked_out() -> None:
    assert np.array_equal(
        least_error_bins(PHOTONS, ABSORPTION, MOST, 12), _partition(PHOTONS, ABSORPTION, MOST, 12)
    )


def test_bins_are_consecutive_and_cannot_be_written_to() -> None:
    group = least_error_bins(PHOTONS, ABSORPTION, MOST, 12)
    assert set(np.diff(group)) <= {0, 1}
    assert group[0] == 0
    assert group[-1] == 11
    with pytest.raises(ValueError, match="read-only"):
        group[0] = 3
