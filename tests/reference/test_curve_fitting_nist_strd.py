"""Certified nonlinear regressions: NIST/ITL Statistical Reference Datasets, nonlinear least squares, www.itl.nist.gov/div898/strd.

Five sets, from both published starts: Misra1a (lower difficulty), and BoxBOD, MGH09, MGH10 and Thurber (higher difficulty). Data,
certified parameters, their standard deviations and the residual sum of squares are typed from the published files, seen in public
copies of them. Certified values have 11 digits; the wrapper works out slopes by differences where no Jacobian is given, which
leaves about 7. Six are asked for; weaker starts of MGH09 and MGH10 are known to defeat plain Gauss-Newton.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from gelwright.models.calibration import FitTask, fit

DIGITS = 6.0
Model = Callable[[np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Certified:
    """One set: model, data, starts, certified values, standard deviations, sum of squares."""

    model: Model
    x: tuple[float, ...]
    y: tuple[float, ...]
    starts: tuple[tuple[float, ...], tuple[float, ...]]
    values: tuple[float, ...]
    deviations: tuple[float, ...]
    squares: float


def saturating(b: np.ndarray, x: np.ndarray) -> np.ndarray:
    return b[0] * (1.0 - np.exp(-b[1] * x))


def rational_2_2(b: np.ndarray, x: np.ndarray) -> np.ndarray:
    return b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3])


def vapour(b: np.ndarray, x: np.ndarray) -> np.ndarray:
    return b[0] * np.exp(b[1] / (x + b[2]))


def rational_3_3(b: np.ndarray, x: np.ndarray) -> np.ndarray:
    return (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1.0 + b[4] * x + b[5] * x**2 + b[6] * x**3)


SETS = {
    "Misra1a": Certified(
        saturating,
        x=(77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0),
        y=(10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78),
        starts=((500.0, 0.0001), (250.0, 0.0005)),
        values=(2.3894212918e02, 5.5015643181e-04),
        deviations=(2.7070075241e00, 7.2668688436e-06),
        squares=1.2455138894e-01,
    ),
    "BoxBOD": Certified(
        saturating,
        x=(1.0, 2.0, 3.0, 5.0, 7.0, 10.0),
        y=(109.0, 149.0, 149.0, 191.0, 213.0, 224.0),
        starts=((1.0, 1.0), (100.0, 0.75)),
        values=(2.1380940889e02, 5.4723748542e-01),
        deviations=(1.2354515176e01, 1.0455993237e-01),
        squares=1.1680088766e03,
    ),
    "MGH09": Certified(
        rational_2_2,
        x=(4.0, 2.0, 1.0, 0.5, 0.25, 0.167, 0.125, 0.1, 0.0833, 0.0714, 0.0625),
        y=(0.1957, 0.1947, 0.1735, 0.16, 0.0844, 0.0627, 0.0456, 0.0342, 0.0323, 0.0235, 0.0246),
        starts=((25.0, 39.0, 41.5, 39.0), (0.25, 0.39, 0.415, 0.39)),
        values=(1.9280693458e-01, 1.9128232873e-01, 1.2305650693e-01, 1.3606233068e-01),
        deviations=(1.1435312227e-02, 1.9633220911e-01, 8.0842031232e-02, 9.0025542308e-02),
        squares=3.0750560385e-04,
    ),
    "MGH10": Certified(
        vapour,
        x=tuple(np.arange(50.0, 126.0, 5.0)),
        y=(
            34780.0, 28610.0, 23650.0, 19630.0, 16370.0, 13720.0, 11540.0, 9744.0,
            8261.0, 7030.0, 6005.0, 5147.0, 4427.0, 3820.0, 3307.0, 2872.0,
        ),
        starts=((2.0, 400000.0, 25000.0), (0.02, 4000.0, 250.0)),
        values=(5.6096364710e-03, 6.1813463463e03, 3.4522363462e02),
        deviations=(1.5687892471e-04, 2.3309021107e01, 7.8486103508e-01),
        squares=8.7945855171e01,
    ),
    "Thurber": Certified(
        rational_3_3,
        x=(
            -3.067, -2.981, -2.921, -2.912, -2.840, -2.797, -2.702, -2.699, -2.633, -2.481, -2.363, -2.322, -1.501,
            -1.460, -1.274, -1.212, -1.100, -1.046, -0.915, -0.714, -0.566, -0.545, -0.400, -0.309, -0.109, -0.103,
            0.010, 0.119, 0.377, 0.790, 0.963, 1.006, 1.115, 1.572, 1.841, 2.047, 2.200,
        ),
        y=(
            80.574, 84.248, 87.264, 87.195, 89.076, 89.608, 89.868, 90.101, 92.405, 95.854, 100.696, 101.060, 401.672,
            390.724, 567.534, 635.316, 733.054, 759.087, 894.206, 990.785, 1090.109, 1080.914, 1122.643, 1178.351,
            1260.531, 1273.514, 1288.339, 1327.543, 1353.863, 1414.509, 1425.208, 1421.384, 1442.962, 1464.350,
            1468.705, 1447.894, 1457.628,
        ),
        starts=((1000.0, 1000.0, 400.0, 40.0, 0.7, 0.3, 0.03), (1300.0, 1500.0, 500.0, 75.0, 1.0, 0.4, 0.05)),
        values=(
            1.2881396800e03, 1.4910792535e03, 5.8323836877e02, 7.5416644291e01, 9.6629502864e-01,
            3.9797285797e-01, 4.9727297349e-02,
        ),
        deviations=(
            4.6647963344e00, 3.9571156086e01, 2.8698696102e01, 5.5675370270e00, 3.1333340687e-02,
            1.4984928198e-02, 6.5842344623e-03,
        ),
        squares=5.6427082397e03,
    ),
}  # fmt: skip


@pytest.mark.parametrize("start", [0, 1], ids=["start 1", "start 2"])
@pytest.mark.parametrize("name", SETS)
def test_certified_fit(name: str, start: int) -> None:
    known = SETS[name]
    x, y = np.array(known.x), np.array(known.y)

    def residual(values: np.ndarray) -> np.ndarray:
        with np.errstate(over="ignore"):  # a wild step of the search is rejected by its size
            return np.clip(y - known.model(values, x), -1e150, 1e150)

    task = FitTask(
        names=tuple(f"b{i + 1}" for i in range(len(known.values))),
        residual=residual,
        outlier_scale=None,
        noise_is_stated=False,
        tolerance=1e-15,
    )
    found = fit(task, known.starts[start])
    asked = 10.0**-DIGITS
    assert found.values == pytest.approx(known.values, rel=asked)
    assert found.standard_error == pytest.approx(known.deviations, rel=asked)
    assert float(found.residuals @ found.residuals) == pytest.approx(known.squares, rel=asked)
