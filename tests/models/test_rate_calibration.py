"""Calibrated gels: their file, what the calibration does to a cure, and the priors it starts from."""

import copy
import math
import pickle
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.models.formulation import gel_initiator, gel_resin, mix_resins, rates_of
from gelwright.models.gel import Gel, load_gel, save_gel
from gelwright.models.priors import prior_of
from gelwright.models.rate_calibration import RateCalibration
from gelwright.models.rate_parameters import PARAMETERS, log_value, parameter_names, with_log_values
from gelwright.models.solver import SolverSettings

PARTS = {"UDMA": 55.0, "UA-1500": 15.0, "HPMA": 20.0, "IBOMA": 10.0}
COARSE = SolverSettings(cells=20, light_bins=6)


def calibration(**changes: Any) -> RateCalibration:
    plain: dict[str, Any] = {
        "parameters": ("k_p0", "f.BAPO"),
        "values": [math.log(0.8), math.log(0.5)],
        "covariance": [[0.04, -0.01], [-0.01, 0.09]],
        "kept_at_prior": ("f.BAPO",),
        "trials": ("first", "second"),
        "resin_parts": PARTS,
        "covered": {"thickness_um": (100.0, 300.0)},
    }
    return RateCalibration(**{**plain, **changes})


def gel(calibrated: RateCalibration | None = None) -> Gel:
    return Gel(
        name="test",
        coat="builder",
        resin_parts=PARTS,
        initiators_wt_pct={"BAPO": 0.3},
        thickness_m=200e-6,
        calibration=calibrated,
    )


def test_calibrated_gel_reads_back_equal(tmp_path: Path) -> None:
    full = gel(calibration())
    save_gel(full, tmp_path / "out.toml")
    again = load_gel(tmp_path / "out.toml")
    assert again == full
    assert again != gel(calibration(values=[0.0, 0.0]))
    assert pickle.loads(pickle.dumps(full)) == full == copy.deepcopy(full)
    assert not pickle.loads(pickle.dumps(full)).calibration.log_values.flags.writeable


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"values": [1.0]}, "2 parameters, but values of shape"),
        ({"values": [math.nan, 0.0]}, "not a finite number"),
        ({"covariance": [[0.04, 0.5], [0.5, 0.09]]}, "not symmetric with positive"),
        ({"covariance": [[0.04, 0.01], [0.0, 0.09]]}, "not symmetric with positive"),
        ({"parameters": ("k_p0", "k_p0")}, "each once"),
    ],
)
def test_impossible_calibration_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        calibration(**changes)


def test_calibration_of_another_resin_base_is_refused() -> None:
    with pytest.raises(InputError, match="another resin base"):
        gel(calibration(resin_parts={"UDMA": 100.0}))
    doubled = {key: 2.0 * value for key, value in PARTS.items()}
    assert gel(calibration(resin_parts=doubled)).calibration is not None


def test_unknown_parameter_is_named() -> None:
    with pytest.raises(UnknownNameError, match="unknown rate parameter 'kp'"):
        gel(calibration(parameters=("kp", "f.BAPO")))


def test_broken_table_is_one_line_with_the_file(tmp_path: Path) -> None:
    path = tmp_path / "my.toml"
    save_gel(gel(calibration()), path)
    path.write_text(path.read_text().replace("covariance = [[0.04", 'covariance = [["a"'))
    with pytest.raises(InputError, match=r"^my\.toml: calibration"):
        load_gel(path)
    save_gel(gel(calibration()), path)
    path.write_text(path.read_text().replace("kept_at_prior", "kept"))
    with pytest.raises(InputError, match="no key 'kept'"):
        load_gel(path)


def test_every_parameter_moves_by_itself_and_by_the_factor_asked() -> None:
    rates = rates_of(mix_resins(PARTS))
    for name in PARAMETERS:
        moved = with_log_values(rates, {name: log_value(name, rates) + 0.2})
        for other in PARAMETERS:
            change = log_value(other, moved) - log_value(other, rates)
            assert change == pytest.approx(0.2 if other == name else 0.0, abs=1e-12)


def test_calibration_reaches_resin_and_initiator() -> None:
    plain, fitted = gel(), gel(calibration())
    kinetics = gel_resin(fitted).kinetics
    factor = 0.8 / math.exp(log_value("k_p0", rates_of(gel_resin(plain))))
    assert kinetics.methacrylate_propagation_m3_mol_s == pytest.approx(
        factor * gel_resin(plain).kinetics.methacrylate_propagation_m3_mol_s, rel=1e-12
    )
    assert gel_initiator(fitted, "BAPO").initiation_efficiency == pytest.approx(0.5)
    measured = [
        each for each in gel_resin(plain).unverified if each.endswith("propagation_rate_coefficient_m3_mol_s")
    ]
    assert measured
    assert not set(measured) & set(gel_resin(fitted).unverified)


def test_cure_says_calibrated_with_which_trials_and_where_it_leaves_their_range() -> None:
    lamp = load_lamp("demo_narrow_405")
    inside = cure(gel(calibration()), lamp, exposure_s=20.0, settings=COARSE)
    outside = cure(gel(calibration()), lamp, exposure_s=20.0, thickness_m=400e-6, settings=COARSE)
    plain = cure(gel(), lamp, exposure_s=20.0, settings=COARSE)
    words = "Calibrated on first, second: k_p0 from the data; f.BAPO not determined"
    assert any(flag.startswith(words) for flag in inside.flags)
    assert not any("Outside the calibration" in flag for flag in inside.flags)
    assert any("film 400 um; the trials covered 100 to 300 um" in flag for flag in outside.flags)
    assert not any("alibrat" in flag for flag in plain.flags)


def test_calibration_at_the_packaged_values_changes_nothing() -> None:
    names = parameter_names(["BAPO"])
    prior = prior_of(gel(), names)
    same = calibration(
        parameters=names, values=prior.mean, covariance=np.diag(prior.sd**2), kept_at_prior=names
    )
    lamp = load_lamp("demo_narrow_405")
    plain = cure(gel(), lamp, exposure_s=20.0, settings=COARSE)
    fitted = cure(gel(same), lamp, exposure_s=20.0, settings=COARSE)
    assert fitted.bottom_conversion_fraction == pytest.approx(plain.bottom_conversion_fraction, abs=1e-9)
    assert fitted.nail_bed_peak_k == pytest.approx(plain.nail_bed_peak_k, abs=1e-9)


def test_draws_have_the_covariance() -> None:
    found = calibration().draw(np.random.default_rng(1).standard_normal((20000, 2)))
    # standard error of a variance from 20000 draws: 1 %
    assert np.cov(found.T) == pytest.approx(calibration().log_covariance, abs=0.003)


def test_priors_come_from_the_tables() -> None:
    pure = replace(gel(), resin_parts={"UDMA": 100.0})
    prior = prior_of(pure, ["k_p0", "k_t0", "dH", "f.BAPO", "b"])
    # resins.csv: 400 +- 160 L/mol/s, 2.7e5 +- 2.7e5 L/mol/s, 56 +- 2 kJ/mol; photoinitiators.csv: 0.6 +- 0.1 and 0.6 +- 0.15
    assert np.exp(prior.mean[:4]) == pytest.approx([0.4, 270.0, 56e3, 0.6], rel=1e-9)
    # a log-normal of relative standard deviation e has the spread sqrt(ln(1 + e^2)) of its logarithm
    expected = np.sqrt(np.log1p(np.array([0.4, 1.0, 2.0 / 56.0]) ** 2))
    assert prior.sd[:3] == pytest.approx(expected, rel=1e-9)
    product = math.log1p((0.1 / 0.6) ** 2) + math.log1p(0.25**2)
    assert prior.sd[3] == pytest.approx(math.sqrt(product), rel=1e-9)
    assert prior.assumed == ("b",)


def test_prior_of_an_unknown_name() -> None:
    with pytest.raises(UnknownNameError, match="unknown rate parameter 'kp0'"):
        prior_of(gel(), ["kp0"])
