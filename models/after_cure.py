"""What a cure leaves behind: initiator, photoproduct, amine, stabiliser, unreacted monomer, shrinkage, tint, and how the faces set.

"Surface" is the mean over the upper fifth of the film, tacky layer included; "base" is the face on the nail.
Everything here is predicted from concentrations and conversion; nothing is an extraction or migration test.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .absorption import AbsorptionSpectrum
from .colour import cielab, colour_grid_nm, film_absorbance, yellowness
from .formulation import amine_records, concentration_mol_m3, gel_initiator
from .gel import Gel
from .materials import resin as resin_record
from .plain import bottom_value, surface_mean
from .setting import Setting
from .substances import Photoinitiator

Array = NDArray[np.float64]
Sensitiser = Literal["", "known", "possible"]

SURFACE_SHARE = 0.2
# Patel & Braden: 22 cm3 per mole C=C of methacrylates, whatever the ester group; acrylates are taken to shrink alike.
SHRINKAGE_M3_MOL = 22.0e-6
SHRINKAGE_SOURCE = "patel_braden"
# Lowest share worth naming: the generic limit of strong skin sensitisers in a mixture, from memory.
NAMED_FROM_WT_PCT = 0.1
# 1 ppm by weight: assumed, about what a laboratory can still find of a monomer in a film.
NO_MORE_TOLD_WT_PCT = 1.0e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """Content of one substance in the cured film [wt%]: film mean, surface (upper fifth) and base."""

    mean_wt_pct: float
    surface_wt_pct: float
    base_wt_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeMonomer:
    """Molecules of one resin none of whose C=C has reacted.

    Attributes
    ----------
    amount : Amount
        Predicted content [wt% of the film].
    functionality : int
        C=C groups per molecule.
    sensitiser : {"", "known", "possible"}
        Whether the resin is a skin sensitiser.
    """

    amount: Amount
    functionality: int
    sensitiser: Sensitiser


@dataclass(frozen=True, slots=True, kw_only=True)
class Shrinkage:
    """Loss of volume on cure, as a share of the liquid film; the linear shrinkage of a free film is a third of it.

    Attributes
    ----------
    mean_volume_fraction, surface_volume_fraction, base_volume_fraction : float
        Volume shrinkage [-].
    mean_linear_fraction : float
        Linear shrinkage [-].
    """

    mean_volume_fraction: float
    surface_volume_fraction: float
    base_volume_fraction: float
    mean_linear_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tint:
    """Colour of the cured binder over a white floor (D65, 2 degrees): CIELAB and the yellowness index of ASTM E313."""

    cielab_l: float
    cielab_a: float
    cielab_b: float
    yellowness_index: float


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterCure:
    """What a cure leaves behind.

    Attributes
    ----------
    initiators, photoproducts : mapping of str to Amount
        Initiator left, and what became of the rest, counted as the mass of initiator used up (its fragments sit in the
        network or beside it).
    amines : mapping of str to Amount
        Amine left; several amines are taken to react alike.
    stabilisers : mapping of str to Amount
        Stabiliser left, counted by the radicals it can still take; several are taken to be used up alike.
    free_monomers : mapping of str to FreeMonomer
        Unreacted molecules of each resin.
    shrinkage, tint, setting : Shrinkage, Tint, Setting
        Volume lost, colour of the clear binder, and when the two faces set.
    """

    initiators: Mapping[str, Amount]
    photoproducts: Mapping[str, Amount]
    amines: Mapping[str, Amount]
    stabilisers: Mapping[str, Amount]
    free_monomers: Mapping[str, FreeMonomer]
    shrinkage: Shrinkage
    tint: Tint
    setting: Setting


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilmEnd:
    """One coat before and after its cure, cell by cell from the air side down.

    Attributes
    ----------
    width_m : ndarray, shape (n,)
        Cell widths [m].
    initiator_left_fraction : ndarray, shape (n_initiator, n)
        Share of each initiator of the gel that is left [-].
    amine_left_fraction : ndarray, shape (n,)
        Share of the amine left [-].
    stabiliser_left_fraction : ndarray, shape (n,)
        Share of the stabiliser left [-].
    start_bonds_mol_m3, bonds_mol_m3 : ndarray, shape (2, n)
        C=C of acrylates and methacrylates before and after [mol m-3].
    """

    width_m: Array
    initiator_left_fraction: Array
    amine_left_fraction: Array
    stabiliser_left_fraction: Array
    start_bonds_mol_m3: Array
    bonds_mol_m3: Array


def left_fraction(left: Array, start: Array) -> Array:
    """Share left [-]; 1 where there was none at the start, since none has gone."""
    return np.asarray(np.divide(left, start, out=np.ones_like(left), where=start > 0.0))


def after_cure(gel: Gel, density_kg_m3: float, end: FilmEnd, setting: Setting) -> AfterCure:
    """What the cure of one coat leaves behind.

    Parameters
    ----------
    gel : Gel
        What the coat was made of.
    density_kg_m3 : float
        Density of its resin base [kg/m3].
    end : FilmEnd
        The coat before and after.
    setting : Setting
        When its faces set.

    Notes
    -----
    Unreacted molecules: with independent groups (assumed), a molecule with f C=C of conversion X keeps them all with
    probability (1 - X)^f. X is that of its own kind of C=C, acrylate or methacrylate. As a figure for what can get out of
    the film it is an upper estimate: pendant groups react more slowly than free molecules, and part of the free molecules
    is trapped. Ring closure within a molecule works the other way and is left out.
    """
    width = end.width_m
    pairs = [
        (key, wt_pct, end.initiator_left_fraction[row])
        for row, (key, wt_pct) in enumerate(gel.initiators_wt_pct.items())
    ]
    return AfterCure(
        initiators={key: _amount(width, left, wt_pct) for key, wt_pct, left in pairs},
        photoproducts={key: _amount(width, 1.0 - left, wt_pct) for key, wt_pct, left in pairs},
        amines={
            key: _amount(width, end.amine_left_fraction, wt_pct) for key, wt_pct in gel.amines_wt_pct.items()
        },
        stabilisers={
            key: _amount(width, end.stabiliser_left_fraction, wt_pct)
            for key, wt_pct in gel.stabilisers_wt_pct.items()
        },
        free_monomers=_free_monomers(gel, end),
        shrinkage=_shrinkage(end),
        tint=tint_of(binder_absorbance(gel, density_kg_m3, end)),
        setting=setting,
    )


def _amount(width: Array, share: Array, wt_pct: float) -> Amount:
    return Amount(
        mean_wt_pct=wt_pct * float(width @ share / width.sum()),
        surface_wt_pct=wt_pct * float(surface_mean(width, share, SURFACE_SHARE)),
        base_wt_pct=wt_pct * float(bottom_value(width, share)),
    )


def free_share(conversion_fraction: Array, functionality: int) -> Array:
    """Share of molecules none of whose groups has reacted [-], groups independent.

    Examples
    --------
    >>> float(free_share(np.array(0.7), 2).round(3))
    0.09
    """
    return np.asarray((1.0 - conversion_fraction) ** functionality)


def _free_monomers(gel: Gel, end: FilmEnd) -> dict[str, FreeMonomer]:
    total = sum(gel.resin_parts.values())
    left = left_fraction(end.bonds_mol_m3, end.start_bonds_mol_m3)
    found = {}
    for key, parts in gel.resin_parts.items():
        record = resin_record(key)
        conversion = 1.0 - left[0 if record.group == "acrylate" else 1]
        # Power taken of the face value, not extrapolated as a power, so that the base agrees with its conversion.
        base = bottom_value(end.width_m, conversion)
        weighed = gel.resin_base_wt_pct * parts / total
        amount = _amount(end.width_m, free_share(conversion, record.functionality), weighed)
        found[key] = FreeMonomer(
            amount=replace(
                amount, base_wt_pct=weighed * float(free_share(np.array(base), record.functionality))
            ),
            functionality=record.functionality,
            sensitiser=record.sensitiser,
        )
    return found


def shrinkage_volume_fraction(double_bonds_lost_mol_m3: float) -> float:
    """Volume shrinkage of a film that has lost so much C=C [-].

    References
    ----------
    Patel & Braden: 22 cm3 per mole C=C for methacrylate esters.

    Examples
    --------
    >>> round(shrinkage_volume_fraction(8290.0), 4)  # all of HEMA's 8.29 mol/L
    0.1824
    """
    return SHRINKAGE_M3_MOL * double_bonds_lost_mol_m3


def _shrinkage(end: FilmEnd) -> Shrinkage:
    lost = (end.start_bonds_mol_m3 - end.bonds_mol_m3).sum(axis=0)
    width, full = end.width_m, end.start_bonds_mol_m3.sum(axis=0)
    mean = shrinkage_volume_fraction(float(width @ lost / width.sum()))
    base = float(bottom_value(width, left_fraction(lost, full))) * float(full[-1]) if full[-1] > 0.0 else 0.0
    return Shrinkage(
        mean_volume_fraction=mean,
        surface_volume_fraction=shrinkage_volume_fraction(float(surface_mean(width, lost, SURFACE_SHARE))),
        base_volume_fraction=shrinkage_volume_fraction(base),
        mean_linear_fraction=mean / 3.0,
    )


def _reaching_down(record: Photoinitiator, lowest_nm: float) -> Photoinitiator:
    """The initiator with its spectrum held constant below its first point: a user's file may begin at 390 nm.

    The eye hardly sees what lies between there and 380 nm.
    """
    spectrum = record.absorption
    if spectrum.wavelength_nm[0] <= lowest_nm:
        return record
    held = AbsorptionSpectrum(
        np.concatenate([[lowest_nm], spectrum.wavelength_nm]),
        np.concatenate(
            [spectrum.molar_absorption_coefficient_m2_mol[:1], spectrum.molar_absorption_coefficient_m2_mol]
        ),
        spectrum.valid_from_nm,
        spectrum.valid_to_nm,
        spectrum.source,
        spectrum.kind,
    )
    return replace(record, absorption=held)


def binder_absorbance(gel: Gel, density_kg_m3: float, end: FilmEnd) -> Array:
    """Decadic absorbance of a cured coat's clear binder over the wavelengths of `colour_grid_nm`, shape (1, n) [-]."""
    grid, width = colour_grid_nm(), end.width_m
    initiators = [_reaching_down(gel_initiator(gel, key), float(grid[0])) for key in gel.initiators_wt_pct]
    amines = amine_records(gel)
    if not initiators:
        return np.zeros((1, grid.size))
    start = _start_mol_m3(gel.initiators_wt_pct, initiators, density_kg_m3)
    left = end.initiator_left_fraction @ width / width.sum()
    amine_left = float(end.amine_left_fraction @ width / width.sum())
    amine_start = np.array(
        [
            concentration_mol_m3(gel.amines_wt_pct[each.key], density_kg_m3, each.molar_mass_kg_mol)
            for each in amines
        ]
    )
    return film_absorbance(
        grid,
        initiators=initiators,
        residual_mol_m3=start * left,
        product_mol_m3=start * (1.0 - left),
        thickness_m=float(width.sum()),
        amines=amines,
        amine_mol_m3=amine_start * amine_left,
    )


def tint_of(absorbance: Array) -> Tint:
    """Colour over a white floor of a clear film, or of several on top of each other, from their absorbance in sum."""
    grid = colour_grid_nm()
    lab = cielab(absorbance, grid)[0]
    return Tint(
        cielab_l=float(lab[0]),
        cielab_a=float(lab[1]),
        cielab_b=float(lab[2]),
        yellowness_index=float(yellowness(absorbance, grid)[0]),
    )


def _start_mol_m3(
    wt_pct: Mapping[str, float], records: Sequence[Photoinitiator], density_kg_m3: float
) -> Array:
    return np.array(
        [
            concentration_mol_m3(wt_pct[record.key], density_kg_m3, record.molar_mass_kg_mol)
            for record in records
        ]
    )


def content_text(wt_pct: float) -> str:
    """A content in words that claim no more than the model can know: below 1 ppm only that it is below."""
    return f"{wt_pct:.2g}" if wt_pct >= NO_MORE_TOLD_WT_PCT else f"<{NO_MORE_TOLD_WT_PCT:.4f}"


def sensitisers_left(found: AfterCure) -> list[str]:
    """Known skin sensitisers left unreacted in an amount worth naming, with their content at surface and base."""
    return [
        f"{key} {content_text(each.amount.surface_wt_pct)} and {content_text(each.amount.base_wt_pct)} wt%"
        for key, each in found.free_monomers.items()
        if each.sensitiser == "known"
        and max(each.amount.surface_wt_pct, each.amount.base_wt_pct) >= NAMED_FROM_WT_PCT
    ]


def after_cure_flags(found: AfterCure) -> tuple[str, ...]:
    """Sentences on allergens left unreacted and on wrinkling."""
    flags = []
    named = sensitisers_left(found)
    if named:
        flags.append(
            "Known skin sensitisers predicted unreacted at the surface (tacky layer included) and at the base of the coat, "
            f"upper estimate with independent C=C groups: {'; '.join(named)}. Keep uncured gel off the skin."
        )
    if found.setting.may_wrinkle:
        flags.append(found.setting.warning)
    return tuple(flags)
