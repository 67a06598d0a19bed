"""Pictures of a whole build for a page: the stack, its temperatures, and each coat by itself at every place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from ..lamp_library.units import c_from_k, um_from_m
from ..models.stack_results import StackResult
from .build_picture import draw_coat, draw_course, draw_stack
from .page_html import inline_svg
from .page_parts import Picture
from .plots import new_figure


def stack_picture(soft: StackResult, name: str = "stack") -> Picture:
    """Conversion through all coats at one place.

    Parameters
    ----------
    soft : StackResult
        The least cured place.
    name : str
        Word that no other picture of the page has.
    """
    figure, axes = new_figure(5.0, 3.7)
    draw_stack(axes[0], soft)
    faces = "; ".join(f"coat {coat.number} {coat.bottom_conversion_fraction:.2f}" for coat in soft.coats)
    return Picture(
        svg=inline_svg(figure, name),
        alt=f"Conversion through all coats at {soft.position}. Lower faces: {faces}.",
        caption="Conversion from the air (left) to the nail (right), least cured position.",
    )


def course_picture(hot: StackResult, nail_bed_max_k: float, name: str = "course") -> Picture:
    """Film and nail bed over the whole schedule at one place.

    Parameters
    ----------
    hot : StackResult
        The hottest place.
    nail_bed_max_k : float
        The limit [K].
    name : str
        Word that no other picture of the page has.
    """
    figure, axes = new_figure(5.0, 3.7)
    draw_course(axes[0], hot, nail_bed_max_k)
    return Picture(
        svg=inline_svg(figure, name),
        alt=f"Film and nail bed against time at {hot.position}; the nail bed peaks at {c_from_k(hot.nail_bed_peak_k):.1f} °C.",
        caption="Temperatures over the whole schedule, hottest position; lamp on: shaded.",
    )


def coat_pictures(results: Mapping[str, StackResult], name: str = "coat") -> tuple[Picture, ...]:
    """Conversion against depth in each coat by itself, from the nail upwards, one line per place.

    Parameters
    ----------
    results : mapping of str to StackResult
        Places, by what they are called; all of one schedule.
    name : str
        Word that no other picture of the page has.
    """
    first: StackResult = next(iter(results.values()))
    found = []
    for index, coat in enumerate(first.coats):
        figure, axes = new_figure(4.9, 2.8)
        draw_coat(axes[0], results, index)
        faces = [
            (
                place,
                result.coats[index].top_conversion_fraction,
                result.coats[index].bottom_conversion_fraction,
            )
            for place, result in results.items()
        ]
        least = min(faces, key=lambda face: face[2])
        told = "; ".join(f"{place} {upper:.2f} and {lower:.2f}" for place, upper, lower in faces)
        found.append(
            Picture(
                svg=inline_svg(figure, f"{name}-{index}"),
                alt=f"Conversion against depth in coat {coat.number}, {coat.gel_name}, upper fifth and lower face: {told}.",
                caption=(
                    f"Coat {coat.number}, {coat.gel_name}, {_thickness(results.values(), index)} µm: its lower face reaches "
                    f"{least[2]:.2f} at the least ({least[0]}), of {coat.conversion_ceiling_fraction:.2f} possible."
                ),
            )
        )
    return tuple(found)


def _thickness(results: Iterable[StackResult], index: int) -> str:
    found = sorted({round(um_from_m(each.coats[index].thickness_m)) for each in results})
    return f"{found[0]}" if len(found) == 1 else f"{found[0]} to {found[-1]}"
