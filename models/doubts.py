"""How well the numbers of a gel are known: one prior per knob of `perturbed`, and what a calibration puts in their place.

Spreads of resins and initiators are those stated beside their values in the data tables. Of a mixture the spread is the
mean of its members' by weight: members' errors are taken to go together, since most numbers of a property rest on the same
few papers. A factor is drawn log-normal, a shift normal.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ..lamp_library.errors import InputError
from .data_tables import Number, read_numbers, required
from .formulation import gel_initiator, gel_pigment
from .gel import Gel
from .materials import stabiliser


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is not known about one number.

    Attributes
    ----------
    knob : str
        Name of the knob (see `perturbed`).
    words : str
        What it is, in words.
    kind : str
        ``"factor"``: log-normal, `spread` is the standard deviation of its logarithm; ``"shift"``: normal.
    spread : float
        One standard deviation: of the logarithm [-], or in the knob's unit.
    basis : str
        Where the spread comes from.
    """

    knob: str
    words: str
    kind: Literal["factor", "shift"]
    spread: float
    basis: str

    @property
    def size(self) -> str:
        """The spread in words, one standard deviation."""
        if self.kind == "shift":
            return f"{self.spread:.3g} K"
        return f"factor {math.exp(self.spread):.2f}" if self.spread > 0.3 else f"{100 * self.spread:.0f} %"


# parameter of a calibration -> knob
_KNOB_OF_PARAMETER = {
    "k_p0": "propagation_ratio",
    "k_t0": "termination_ratio",
    "C_RD": "reaction_diffusion_ratio",
    "b": "termination_decay_ratio",
    "X_v": "vitrification_conversion_ratio",
    "w": "vitrification_width_ratio",
    "E_p": "propagation_energy_ratio",
    "E_t": "termination_energy_ratio",
    "dH": "heat_of_polymerisation_ratio",
    "n_O": "oxygen_radicals_ratio",
    "O_s": "oxygen_solubility_ratio",
    "D_O": "oxygen_diffusivity_ratio",
}
# what a calibrated vitrification conversion says already
_SAID_BY_VITRIFICATION = (
    "tg_monomer_shift_k",
    "tg_polymer_shift_k",
    "dibenedetto_lambda_ratio",
    "tg_half_width_ratio",
)


def knob_of_parameter(name: str) -> str:
    """Knob that a fitted rate parameter turns; efficiencies are named ``f.`` and the initiator's key.

    Raises
    ------
    InputError
        If no knob stands for the parameter.
    """
    if name.startswith("f."):
        return f"initiation_efficiency_ratio:{name[2:]}"
    if name not in _KNOB_OF_PARAMETER:
        known = ", ".join((*_KNOB_OF_PARAMETER, "f.<initiator>"))
        raise InputError(f"calibration: parameter '{name}' is not known here; known are {known}.")
    return _KNOB_OF_PARAMETER[name]


def without_calibrated(priors: Sequence[Prior], knobs: Sequence[str]) -> tuple[Prior, ...]:
    """Priors that a calibration of some knobs leaves standing."""
    gone = set(knobs)
    if "vitrification_conversion_ratio" in gone:
        gone.update(_SAID_BY_VITRIFICATION)
    # trials see yield times efficiency, and radicals per oxygen times oxygen, as one number each
    gone.update(
        knob.replace("initiation_efficiency_ratio", "quantum_yield_ratio")
        for knob in knobs
        if knob.startswith("initiation_efficiency_ratio:")
    )
    if "oxygen_radicals_ratio" in gone:
        gone.add("oxygen_solubility_ratio")
    return tuple(prior for prior in priors if prior.knob not in gone)


# property in resins.csv -> knob, words, factor or shift
_RESIN = (
    ("propagation_rate_coefficient", "propagation_ratio", "propagation rate", "factor"),
    ("propagation_activation_energy", "propagation_energy_ratio", "propagation energy", "factor"),
    ("termination_rate_coefficient", "termination_ratio", "termination rate", "factor"),
    ("termination_activation_energy", "termination_energy_ratio", "termination energy", "factor"),
    ("reaction_diffusion", "reaction_diffusion_ratio", "reaction diffusion", "factor"),
    ("heat_of_polymerisation", "heat_of_polymerisation_ratio", "heat of polymerisation", "factor"),
    ("tg_monomer", "tg_monomer_shift_k", "glass transition of the liquid", "shift"),
    ("tg_polymer", "tg_polymer_shift_k", "glass transition of the polymer", "shift"),
    ("dibenedetto_lambda", "dibenedetto_lambda_ratio", "course of the glass transition", "factor"),
    ("tg_half_width", "tg_half_width_ratio", "width of the glass transition", "factor"),
    ("heat_capacity_monomer", "heat_capacity_ratio", "heat capacity of the gel", "factor"),
    ("thermal_conductivity", "conductivity_ratio", "heat conduction of the gel", "factor"),
    ("oxygen_solubility", "oxygen_solubility_ratio", "oxygen dissolved", "factor"),
    ("oxygen_diffusivity", "oxygen_diffusivity_ratio", "oxygen diffusion", "factor"),
    ("oxygen_diffusivity_decay", "oxygen_decay_ratio", "slowing of oxygen by cure", "factor"),
)  # fmt: skip
# Spread over publications of the same order of magnitude; see `heat.Hand` for the values themselves.
TISSUE_PRIORS = (
    Prior(knob="nail_conductivity_ratio", words="heat conduction of the nail", kind="factor", spread=0.2,
          basis="assumed: one diffusivity measured, density and heat capacity from memory"),
    Prior(knob="tissue_conductivity_ratio", words="heat conduction of the tissue", kind="factor", spread=0.2,
          basis="assumed: skin in vivo 0.37 W/m/K, dead skin lower"),
    Prior(knob="perfusion_ratio", words="blood flow of the finger", kind="factor", spread=0.8,
          basis="1.7e-4 to 4.5e-3 1/s measured for fingers, taken as two standard deviations either way"),
    Prior(knob="surface_loss_ratio", words="heat lost to the air", kind="factor", spread=0.25,
          basis="assumed: still air of a small chamber"),
    Prior(knob="oxygen_rate_ratio", words="oxygen scavenging rate", kind="factor", spread=0.5,
          basis="assumed: the value is from memory, good to its order"),
)  # fmt: skip


def log_spread(error_ratio: float) -> float:
    """Standard deviation of the logarithm of a log-normal with a given relative standard deviation [-].

    Examples
    --------
    >>> round(log_spread(1.0), 4)  # an error of 100 %: a factor of 2.3 either way
    0.8326
    """
    return math.sqrt(math.log1p(error_ratio**2))


def gel_priors(gel: Gel, initiators: Sequence[str]) -> tuple[Prior, ...]:
    """Priors of a resin base, its pigments, the initiators named, and the finger below.

    Parameters
    ----------
    gel : Gel
        Resin base, pigments and stabilisers.
    initiators : sequence of str
        Initiators of the blend.

    Returns
    -------
    tuple of Prior
        Knobs without a stated spread are left out.
    """
    found = [prior for key in initiators for prior in _initiator_priors(gel, key)]
    found += _resin_priors(gel)
    if gel.pigments_wt_pct:
        found += _pigment_priors(gel)
    found += _stabiliser_priors(gel)
    return (*found, *TISSUE_PRIORS)


def _initiator_priors(gel: Gel, key: str) -> list[Prior]:
    data = gel_initiator(gel, key)
    efficiency = required(
        read_numbers("photoinitiators.csv")[key], key, "initiation_efficiency", "photoinitiators.csv"
    )
    rows = [
        ("absorption_ratio", "absorption", data.scale_error_ratio),
        ("quantum_yield_ratio", "quantum yield", data.quantum_yield_error_ratio),
        ("initiation_efficiency_ratio", "chains started per radical", _relative(efficiency)),
    ]
    return [
        Prior(knob=f"{knob}:{key}", words=f"{words} of {key}", kind="factor", spread=log_spread(error),
              basis="stated beside the value")
        for knob, words, error in rows if error > 0.0
    ]  # fmt: skip


def _relative(number: Number) -> float:
    if number.uncertainty is None or number.value == 0.0:
        return 0.0
    return abs(number.uncertainty / number.value)


def _resin_priors(gel: Gel) -> list[Prior]:
    table = read_numbers("resins.csv")
    total = sum(gel.resin_parts.values())
    shares = {key: part / total for key, part in gel.resin_parts.items() if part > 0.0}
    found = []
    for name, knob, words, kind in _RESIN:
        numbers = {key: required(table[key], key, name, "resins.csv") for key in shares}
        if any(each.uncertainty is None for each in numbers.values()):
            continue
        if kind == "factor":
            spread = sum(share * log_spread(_relative(numbers[key])) for key, share in shares.items())
        else:
            spread = sum(share * (numbers[key].uncertainty or 0.0) for key, share in shares.items())
        found.append(
            Prior(
                knob=knob, words=words, kind=kind, spread=spread,  # type: ignore[arg-type]
                basis=f"mean of the spreads stated for {', '.join(shares)}",
            )
        )  # fmt: skip
    return found


def _stabiliser_priors(gel: Gel) -> list[Prior]:
    """How fast stabilisers take growing chains, and how many a molecule takes before it is used up.

    The factor stated beside a rate is read as two standard deviations either way.
    """
    shares = {key: wt_pct for key, wt_pct in gel.stabilisers_wt_pct.items() if wt_pct > 0.0}
    total, table = sum(shares.values()), read_numbers("stabilisers.csv")
    rate, radicals = 0.0, 0.0
    for key, wt_pct in shares.items():
        rate += wt_pct / total * 0.5 * math.log(stabiliser(key).radical_rate_error_factor)
        count = required(table[key], key, "radicals_per_molecule", "stabilisers.csv")
        radicals += wt_pct / total * log_spread(_relative(count))
    rows = (
        ("stabiliser_ratio", "rate of the stabiliser", rate,
         "the factor stated beside the value, as two standard deviations either way"),
        ("stabiliser_radicals_ratio", "radicals a molecule of stabiliser takes", radicals,
         "stated beside the value, estimated"),
    )  # fmt: skip
    return [
        Prior(knob=knob, words=words, kind="factor", spread=spread, basis=basis)
        for knob, words, spread, basis in rows if spread > 0.0
    ]  # fmt: skip


def _pigment_priors(gel: Gel) -> list[Prior]:
    total = sum(gel.pigments_wt_pct.values())
    shares = {gel_pigment(gel, key): part / total for key, part in gel.pigments_wt_pct.items()}
    rows = (
        ("pigment_absorption_ratio", "absorption of the pigments", "absorption_error_ratio"),
        ("pigment_scattering_ratio", "scattering of the pigments", "scattering_error_ratio"),
    )
    return [
        Prior(
            knob=knob, words=words, kind="factor", basis="mean of the spreads stated for the pigments",
            spread=sum(share * log_spread(getattr(record, field)) for record, share in shares.items()),
        )
        for knob, words, field in rows
    ]  # fmt: skip
