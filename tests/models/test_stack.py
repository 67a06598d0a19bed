"""Whole builds: agreement with a single coat, what is carried from event to event, balances, wiping."""

from dataclasses import replace

import numpy as np
import pytest

from gelwright.lamp_library.errors import InputError, UnknownNameError
from gelwright.lamp_library.lamp import load_lamp
from gelwright.models.cure import cure
from gelwright.models.formulation import mix_resins
from gelwright.models.gel import Gel
from gelwright.models.heat import Hand, contact_temperature_k
from gelwright.models.schedule import Apply, Event, Expose, Rest, Schedule, Wipe
from gelwright.models.solver import SolverSettings
from gelwright.models.stack import build, build_many
from gelwright.models.stack_results import StackResult
from gelwright.optimiser.demo_data import load_any_gel

LAMP = load_lamp("demo_arch_365_405")
HAND = Hand()
BASE = Gel(
    name="base",
    coat="base",
    resin_parts={"UDMA": 60.0, "HEMA": 40.0},
    initiators_wt_pct={"TPO-L": 3.0, "HCPK": 1.5},
    thickness_m=60e-6,
)
BUILDER = Gel(
    name="builder",
    coat="builder",
    resin_parts={"UDMA": 70.0, "HPMA": 30.0},
    initiators_wt_pct={"BAPO": 0.4, "HCPK": 1.0},
    stabilisers_wt_pct={"MEHQ": 0.02},
    thickness_m=200e-6,
)
TOP = Gel(
    name="top",
    coat="top",
    resin_parts={"UDMA": 50.0, "TPGDA": 50.0},
    initiators_wt_pct={"BP": 3.0, "TPO-L": 1.0},
    amines_wt_pct={"EDB": 1.0},
    thickness_m=50e-6,
)
CURE = (Expose(seconds=30.0), Rest(seconds=20.0))


def on(gel: Gel, thickness_m: float | None = None) -> Apply:
    """A coat as warm as the hand, as `cure` takes it."""
    return Apply(gel=gel, thickness_m=thickness_m, arrives_k=HAND.start_k)


def run(*events: Event, settings: SolverSettings | None = None) -> StackResult:
    return build(Schedule(title="test", events=events), LAMP, settings=settings)


@pytest.fixture(scope="module")
def three_coats() -> StackResult:
    return run(Apply(gel=BASE), *CURE, Apply(gel=BUILDER), *CURE, Wipe(), Apply(gel=TOP), *CURE)


@pytest.mark.parametrize("gel", [BASE, BUILDER, TOP], ids=lambda gel: gel.name)
def test_one_coat_is_what_cure_gives(gel: Gel) -> None:
    alone = cure(gel, LAMP, exposure_s=30.0, rest_s=20.0)
    built = run(on(gel), *CURE)
    # the same arrays go through the same steps; only the run is interrupted at switch-off, where the stepper restarts anyway
    assert built.conversion_fraction == pytest.approx(alone.conversion_fraction, abs=1e-9)
    assert built.bond_side_conversion_fraction == pytest.approx(alone.bottom_conversion_fraction, abs=1e-9)
    assert built.coats[0].top_conversion_fraction == pytest.approx(
        alone.surface_conversion_fraction, abs=1e-9
    )
    assert built.tacky_layer_m == pytest.approx(alone.uncured_layer_m, rel=1e-9)
    assert built.film_peak_k == pytest.approx(alone.film_peak_k, abs=1e-6)
    assert built.nail_bed_peak_k == pytest.approx(alone.nail_bed_peak_k, abs=1e-6)
    assert built.nail_bed_peak_time_s == pytest.approx(alone.nail_bed_peak_time_s, abs=1e-6)
    assert built.cem43_min == pytest.approx(alone.cem43_min, rel=1e-6)
    assert sum(coat.heat_j_m2 for coat in built.coats) == pytest.approx(
        alone.heat_by_cycle_j_m2.sum(), rel=1e-9
    )
    assert dict(built.coats[0].residual_initiator_fraction) == pytest.approx(
        dict(alone.residual_initiator_fraction), rel=1e-9
    )


def test_two_half_coats_applied_together_are_one_full_coat() -> None:
    # steps fine enough that only the cells differ
    fine, coarse = (
        SolverSettings(cells=each, tolerance_temperature_k=0.005, largest_step_s=0.5) for each in (80, 40)
    )
    half = BUILDER.thickness_m / 2.0
    one, two = (
        run(on(BUILDER), *CURE, settings=fine),
        run(on(BUILDER, half), on(BUILDER, half), *CURE, settings=fine),
    )
    rough = run(on(BUILDER), *CURE, settings=coarse)
    # The two builds differ by their cells only: their difference must stay below what halving the cells of the full
    # coat does, which bounds the error of its own grid.
    for name in ("bond_side_conversion_fraction", "tacky_layer_m", "film_peak_k", "nail_bed_peak_k"):
        allowed = abs(getattr(one, name) - getattr(rough, name))
        assert abs(getattr(one, name) - getattr(two, name)) <= allowed, name
    means = [each.width_m @ each.conversion_fraction / each.thickness_m for each in (one, two, rough)]
    assert abs(means[0] - means[1]) <= abs(means[0] - means[2])
    assert two.thickness_m == pytest.approx(one.thickness_m, rel=1e-12)


def test_conversion_of_lower_coats_never_falls(three_coats: StackResult) -> None:
    kept: dict[int, tuple[float, float]] = {}
    for event in three_coats.events:
        if event.kind == "wipe":
            kept.clear()  # a wipe takes the least cured cells of the top coat off: its mean jumps up
        for coat in event.coats:
            now = (coat.bottom_conversion_fraction, coat.mean_conversion_fraction)
            before = kept.get(coat.number, (0.0, 0.0))
            assert now[0] >= before[0] - 1e-12
            assert now[1] >= before[1] - 1e-12
            kept[coat.number] = now
    # At the face itself it is a straight line through the two lowest cells, of which the upper one may run ahead: before
    # anything to speak of has cured it can dip.
    trace = three_coats.bond_side_conversion_trace
    assert np.all(np.diff(trace)[trace[:-1] > 1e-3] >= 0.0)
    assert np.all(np.diff(trace) >= -1e-5)


def test_lower_coats_go_on_curing_in_the_light_that_is_let_down(three_coats: StackResult) -> None:
    heat = {event.number: {c.number: c.heat_j_m2 for c in event.coats} for event in three_coats.events}
    builder_exposure, top_exposure = 5, 9
    assert heat[builder_exposure][1] > 0.01 * heat[2][1]
    assert heat[top_exposure][1] > 0.0
    assert heat[top_exposure][2] > 0.0


def test_every_event_balances(three_coats: StackResult) -> None:
    timed = [event for event in three_coats.events if event.balances is not None]
    assert [event.kind for event in timed] == ["expose", "rest"] * 3
    for event in timed:
        assert event.balances is not None
        assert event.balances.worst < 1e-3
        # heat per coat is read from the C=C lost, heat of the event is summed by the stepper
        assert sum(coat.heat_j_m2 for coat in event.coats) == pytest.approx(event.heat_j_m2, rel=1e-8)
    assert three_coats.balances.worst < 1e-3


def test_heat_of_a_coat_is_its_conversion_times_its_enthalpy() -> None:
    built = run(Apply(gel=BASE), *CURE, Apply(gel=BUILDER), *CURE)
    for coat, gel in zip(built.coats, (BASE, BUILDER), strict=True):
        resin = mix_resins(gel.resin_parts)  # methacrylates only: one heat per C=C
        full = resin.methacrylate_mol_m3 * gel.resin_base_wt_pct / 100.0 * coat.thickness_m
        expected = coat.mean_conversion_fraction * full * resin.kinetics.methacrylate_heat_j_mol
        assert coat.heat_j_m2 == pytest.approx(expected, rel=1e-9)


def test_a_covered_tacky_layer_cures_and_an_open_one_does_not() -> None:
    once = run(Apply(gel=BASE), *CURE)
    open_again = run(Apply(gel=BASE), *CURE, *CURE)
    covered = run(Apply(gel=BASE), *CURE, Apply(gel=BUILDER), *CURE)
    assert once.tacky_layer_m > 2e-6
    tacky = once.depth_m < once.tacky_layer_m
    below = covered.conversion_fraction[covered.coat_number == 1]
    assert np.all(once.conversion_fraction[tacky] < 0.2)
    assert np.all(below[tacky] > 0.6)
    assert open_again.conversion_fraction[0] < 0.2
    # the oxygen shut in is used up
    assert covered.oxygen_mol_m3[covered.coat_number == 1].max() < 1e-3 * once.oxygen_mol_m3.max()


def test_a_fresh_coat_changes_nothing_below_it() -> None:
    before = run(Apply(gel=BASE), *CURE)
    moment = run(Apply(gel=BASE), *CURE, Apply(gel=BUILDER), Expose(seconds=0.01))
    lower = moment.coat_number == 1
    # a hundredth of a second is too short for the cold to reach the nail bed and for conversion to move, but for the one cell at
    # the edge of the tacky layer, whose radicals live and whose oxygen is now cut off
    moved = np.sort(np.abs(moment.conversion_fraction[lower] - before.conversion_fraction))
    assert moved[-2] < 1e-4
    assert moved[-1] < 5e-3
    assert moment.nail_bed_k[-1] == pytest.approx(before.nail_bed_k[-1], abs=0.05)
    assert moment.temperature_k[0] == pytest.approx(296.15, abs=0.5)
    # the face of a cold and a warm thick body takes the contact temperature at once (Carslaw & Jaeger 1959); the base coat
    # is thin, but the nail below it conducts much the same
    cold, warm = mix_resins(BUILDER.resin_parts), mix_resins(BASE.resin_parts)
    contact = contact_temperature_k(
        (cold.conductivity_w_m_k * cold.capacity_j_m3_k) ** 0.5,
        296.15,
        (warm.conductivity_w_m_k * warm.cured_capacity_j_m3_k) ** 0.5,
        float(before.temperature_k.mean()),
    )
    assert moment.temperature_k[lower][0] == pytest.approx(contact, abs=0.3)


def test_each_coat_lists_its_own_initiators(three_coats: StackResult) -> None:
    assert [set(coat.residual_initiator_fraction) for coat in three_coats.coats] == [
        {"TPO-L", "HCPK"},
        {"BAPO", "HCPK"},
        {"BP", "TPO-L"},
    ]
    for coat in three_coats.coats:
        assert all(0.0 <= left <= 1.0 for left in coat.residual_initiator_fraction.values())


def test_wiping_takes_off_what_it_says() -> None:
    built = run(Apply(gel=BASE), *CURE, Apply(gel=BUILDER), *CURE, Wipe(), Wipe())
    before, first, second = built.events[-3:]
    assert first.removed_thickness_m > 1e-6
    assert before.coats[1].thickness_m - first.coats[1].thickness_m == pytest.approx(
        first.removed_thickness_m, rel=1e-9
    )
    assert built.thickness_m == pytest.approx(
        BASE.thickness_m + BUILDER.thickness_m - first.removed_thickness_m, rel=1e-9
    )
    # whole cells come off, the tacky layer is read between cell centres
    widest = float(built.width_m[0])
    assert first.removed_thickness_m == pytest.approx(before.tacky_layer_m, abs=widest)
    density = mix_resins(BUILDER.resin_parts).density_kg_m3
    assert first.removed_mass_kg_m2 == pytest.approx(first.removed_thickness_m * density, rel=1e-9)
    assert first.tacky_layer_m == 0.0
    assert built.conversion_fraction[0] >= 0.2
    assert first.coats[0] == replace(before.coats[0], heat_j_m2=0.0)  # a wipe takes no time
    assert (second.removed_thickness_m, second.removed_mass_kg_m2) == (0.0, 0.0)


def test_a_coat_that_never_cured_is_wiped_off_whole_and_the_one_below_faces_the_air() -> None:
    built = run(Apply(gel=BASE), *CURE, Apply(gel=BUILDER), Expose(seconds=0.05), Wipe(), *CURE)
    assert built.events[5].removed_thickness_m == pytest.approx(BUILDER.thickness_m, rel=1e-9)
    assert [coat.number for coat in built.coats] == [1]
    assert built.coat_conversion_trace[-1, 1] == 0.0
    assert built.oxygen_mol_m3[0] > 0.5  # open to the air again


def test_wiping_off_the_only_coat_is_refused() -> None:
    with pytest.raises(InputError, match=r"event 3 \(wipe\): the only coat on the nail is uncured"):
        run(Apply(gel=BASE), Expose(seconds=0.05), Wipe())


def test_warm_up_starts_afresh_at_every_exposure() -> None:
    assert LAMP.course.overshoot_fraction > 0.0
    built = run(Apply(gel=BASE), Expose(seconds=20.0), Rest(seconds=10.0), Expose(seconds=20.0))
    lit = [built.level_ratio[np.searchsorted(built.time_s, start, side="right")] for start in (0.0, 30.0)]
    assert lit[0] == pytest.approx(lit[1], rel=1e-6)
    assert lit[0] > built.level_ratio[-1]


def test_peaks_times_and_doses_add_up(three_coats: StackResult) -> None:
    # a parabola through the hottest steps: never below them, and no more than a step's tolerance above
    for peak, course in (
        (three_coats.film_peak_k, three_coats.film_max_k),
        (three_coats.nail_bed_peak_k, three_coats.nail_bed_k),
    ):
        assert 0.0 <= peak - course[1:].max() + 1e-9 < 0.05
    at_peak = int(np.argmax(three_coats.nail_bed_k))
    neighbours = (
        three_coats.time_s[at_peak - 1],
        three_coats.time_s[min(at_peak + 1, three_coats.time_s.size - 1)],
    )
    assert neighbours[0] <= three_coats.nail_bed_peak_time_s <= neighbours[1]
    assert three_coats.time_s[-1] == pytest.approx(150.0)
    assert np.all(np.diff(three_coats.time_s) > 0.0)
    assert three_coats.cem43_min == pytest.approx(sum(event.cem43_min for event in three_coats.events))


def test_tables_hold_one_row_per_cell_and_per_event_and_coat(three_coats: StackResult) -> None:
    depth, events, traces = three_coats.to_frame(), three_coats.events_frame(), three_coats.trace_frame()
    assert len(depth) == three_coats.width_m.size
    assert list(dict.fromkeys(depth["coat"])) == ["top", "builder", "base"]
    assert len(events) == sum(len(event.coats) for event in three_coats.events)
    assert len(traces) == three_coats.time_s.size
    for table in (depth, events, traces):
        assert not table.isna().to_numpy().any()
    by_coat = depth.groupby("coat")["conversion_fraction"].mean()
    assert by_coat["base"] > 0.5


def test_positions_in_parallel_are_the_same_as_one_by_one() -> None:
    schedule = Schedule(title="test", events=(Apply(gel=BASE), *CURE))
    both = build_many(schedule, LAMP, LAMP.positions[:2], workers=2)
    for position, result in zip(LAMP.positions[:2], both, strict=True):
        alone = build(schedule, LAMP, position=position)
        assert np.array_equal(result.conversion_fraction, alone.conversion_fraction)


def test_energy_transfer_of_one_coat_stays_in_it() -> None:
    donor = TOP.with_initiators({"ITX": 0.5, "BAPO": 0.5, "HCPK": 2.0}, {"EDB": 1.0})
    giving = replace(donor, name="giving", sensitiser_pairs={"ITX > BAPO": 0.5})
    alone = cure(giving, LAMP, exposure_s=30.0, rest_s=20.0)
    assert run(on(giving), *CURE).bond_side_conversion_fraction == pytest.approx(
        alone.bottom_conversion_fraction, abs=1e-9
    )
    both = run(Apply(gel=donor), Apply(gel=giving), *CURE)
    plain = run(Apply(gel=donor), Apply(gel=replace(giving, sensitiser_pairs={})), *CURE)
    left = [[coat.residual_initiator_fraction["BAPO"] for coat in result.coats] for result in (both, plain)]
    assert left[0][1] < left[1][1] - 0.01  # the upper coat's BAPO is used up faster
    assert left[0][0] == pytest.approx(left[1][0], abs=0.02)  # the lower coat's hardly notices


def test_unusual_order_is_remarked_on_and_a_schedule_that_ends_hot_is_flagged() -> None:
    built = run(Apply(gel=BUILDER), Expose(seconds=5.0), Apply(gel=BASE), Expose(seconds=3.0))
    assert any("Coat 2 is a base coat over a builder coat" in flag for flag in built.flags)
    assert any("not a base coat" in flag for flag in built.flags)
    assert any("hottest at the very end" in flag for flag in built.flags)


@pytest.mark.parametrize(
    ("events", "message"),
    [
        ((Apply(gel=BASE),), "no event exposes the nail"),
        ((Expose(seconds=30.0), Apply(gel=BASE)), r"event 1 \(expose\): there is no coat yet"),
        ((Apply(gel=BASE), Wipe(), Expose(seconds=30.0)), r"event 2 \(wipe\): the coat on top has had no light"),
        ((Apply(gel=BASE), Expose(seconds=0.0)), r"event 2 \(expose\): time is 0 s; it must lie between 0.01 and"),
        ((Apply(gel=BASE), Expose(seconds=9.0), Rest(seconds=-1.0)), r"event 3 \(rest\): time is -1 s"),
        ((Apply(gel=BASE, thickness_m=4e-3), Expose(seconds=9.0)), r"event 1 \(apply\): thickness is 4000 um"),
        ((Apply(gel=BASE, arrives_k=400.0), Expose(seconds=9.0)), "temperature of the gel is 126.85 C"),
        ((*(Apply(gel=BASE),) * 11, Expose(seconds=9.0)), "11 coats; at most 10"),
        ((Apply(gel=BASE), *(Expose(seconds=9.0),) * 60), "61 events; at most 60"),
    ],
)  # fmt: skip
def test_impossible_schedules_are_refused(events: tuple[Event, ...], message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        Schedule(title="test", events=events)
    assert "\n" not in str(caught.value)


def test_unknown_programme_and_position_are_refused_before_anything_runs() -> None:
    with pytest.raises(UnknownNameError, match="programme"):
        run(Apply(gel=BASE), Expose(seconds=9.0, programme="disco"))
    with pytest.raises(UnknownNameError, match="position"):
        build(Schedule(title="test", events=(Apply(gel=BASE), *CURE)), LAMP, position="toe")


def test_a_flash_on_a_cured_film_does_not_stop_the_build() -> None:
    """In a tenth of a second next to no radicals are made: that event cannot close to a thousandth of itself, the schedule can."""
    white = load_any_gel("white_colour")
    events = (
        Apply(gel=white, thickness_m=13.8e-6),
        Expose(seconds=43.7),
        Rest(seconds=59.9),
        Expose(seconds=0.13),
    )
    found = build(Schedule(title="flash", events=events), load_lamp("demo_strong_395"))
    assert found.balances.worst <= 1e-3
