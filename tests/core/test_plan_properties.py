"""What must hold for any person, telescope and cap: monotonicity, finiteness, sentences. Property tests."""

from __future__ import annotations

from datetime import date
from math import isfinite
from typing import Any

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from afocal.core.case import Case, new_case
from afocal.core.configuration import Configuration
from afocal.core.plan import option_for, plan, read_case
from afocal.core.plan.data import plan_data
from afocal.core.plan.tube_field import Infeasible
from afocal.core.plan.types import Option
from afocal.core.settings import Settings
from afocal.core.stock import Cap, Stock, Telescope

SETTINGS = Settings()
FEW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def _stock(power: float, length: float, size: float, caps: tuple[float, ...] = (), **more: Any) -> Stock:
    telescope = Telescope(
        id="t",
        description="t",
        type=more.pop("type", "galilean"),
        magnification=power,
        tube_length_mm=length,
        objective_diameter_mm=size,
        positions=("full diameter",),
        corrections=("carrier", "objective", "none"),
        **more,
    )
    made = tuple(Cap(id=f"c{i}", description="c", power_d=value) for i, value in enumerate(caps))
    return Stock(telescopes=(telescope,), caps=made)


def _case(goal: dict[str, str], **typed: str) -> Case:
    case = new_case("P-1", date(2026, 6, 1))
    base = {"person.birth_year": "1950", "right.distance_acuity": "20/100", "right.near_acuity": "2.0M @ 40"}
    for path, text in {**base, **{key.replace("__", "."): value for key, value in typed.items()}}.items():
        case = case.with_typed(path, text)
    for key, text in goal.items():
        case = case.with_goal_typed(0, key, text)
    return case


def _option(case: Case, stock: Stock, **more: Any) -> Option | None:
    context, demands = read_case(case, SETTINGS)
    chosen: dict[str, Any] = {"correction": "none", **more}
    try:
        return option_for(
            context,
            stock,
            demands,
            Configuration("t", "right", "full diameter", "through the lens", **chosen),
        )
    except Infeasible:
        return None


GOAL = {"task": "own words", "distance": "4 m", "detail": "20/50"}
NEAR = {"task": "own words", "distance": "40 cm", "detail": "1.0M", "reserve": "1.5"}
powers = st.floats(1.3, 4.0)
lengths = st.floats(15.0, 45.0)
sizes = st.floats(12.0, 30.0)


@FEW
@given(
    powers,
    lengths,
    sizes,
    st.floats(0.1, 1.3),
    st.floats(0.01, 0.4),
    st.floats(-8.0, 6.0),
    st.floats(0.0, 6.0),
)
def test_better_acuity_never_lowers_the_chance(
    power: float, length: float, size: float, logmar: float, better: float, sphere: float, cylinder: float
) -> None:
    """The same person with a finer acuity has at least the same chance, with any refraction left uncorrected."""
    stock = _stock(power, length, size)
    lens = f"{sphere:+.2f} -{cylinder:.2f} x 90" if cylinder >= 0.01 else f"{sphere:+.2f} sph"
    found = []
    for value in (logmar, logmar - better):
        option = _option(
            _case(GOAL, right__distance_acuity=f"{value:.4f} logMAR", right__refraction=lens), stock
        )
        assume(option is not None)
        found.append(option.outcomes[0].probability)  # type: ignore[union-attr]
    assume(None not in found)
    assert found[1] >= found[0] - 1e-12


@FEW
@given(
    powers, lengths, sizes, st.floats(0.1, 1.3), st.floats(0.01, 0.4), st.floats(-8.0, 6.0),
    st.sampled_from(("room", "dim", "bright")), st.sampled_from(("carrier", "objective", "none")),
    st.floats(0.4, 20.0), st.booleans(),
)  # fmt: skip
def test_better_acuity_never_lowers_the_chance_in_any_light_at_any_distance(
    power: float, length: float, size: float, logmar: float, better: float, sphere: float, light: str, correction: str,
    metres: float, hyperfocal: bool,
) -> None:  # fmt: skip
    """The same for print and letters, every light, place of correction and distance.

    Set hyperfocal, the tube itself follows the acuity (an eye that tolerates less is set farther out), so there the
    chance is held only where the better eye is not left more out of focus by it.
    """
    stock = _stock(power, length, size)
    goal = {"task": "own words", "distance": f"{metres:.3f} m", "detail": "20/50", "light": light}
    focus = "hyperfocal" if hyperfocal else "infinity"
    found = []
    for value in (logmar, logmar - better):
        case = _case(
            goal, right__distance_acuity=f"{value:.4f} logMAR", right__refraction=f"{sphere:+.2f} sph"
        )
        option = _option(case, stock, correction=correction, focus=focus)
        assume(option is not None)
        found.append(option.outcomes[0])  # type: ignore[union-attr]
    assume(found[0].probability is not None and found[1].probability is not None)
    assume(not hyperfocal or found[1].defocus_d <= found[0].defocus_d)
    assert found[1].probability >= found[0].probability - 1e-12


def test_each_of_these_moves_the_figure_and_not_only_keeps_it() -> None:
    """On an ordinary person and tube the inequalities are strict: the properties do not hold for want of a change."""
    stock = _stock(2.5, 28.0, 22.0, (2.0, 4.0))

    def option(goal: dict[str, str] = GOAL, cap: str = "", **typed: str) -> Option:
        made = _option(_case(goal, **typed), stock, correction="carrier", cap=cap)
        assert made is not None
        return made

    worse, better = (option(right__distance_acuity=text).outcomes[0] for text in ("20/125", "20/100"))
    assert better.probability > worse.probability  # type: ignore[operator]
    worse, better = (
        option(NEAR, "c1", right__near_acuity=text).outcomes[0] for text in ("3M @ 40", "2M @ 40")
    )
    assert better.probability > worse.probability  # type: ignore[operator]
    near, far = (option(face__ocular_to_cornea=text).device.leading.field for text in ("10", "14"))
    for name in ("real_field_deg", "apparent_field_deg", "real_field_full_deg", "real_field_total_deg"):
        assert getattr(far, name) < getattr(near, name)
    weak, strong = (option(NEAR, cap) for cap in ("c0", "c1"))
    assert strong.device.cap is not None and weak.device.cap is not None
    assert strong.device.cap.working_distance_mm < weak.device.cap.working_distance_mm
    assert strong.outcomes[0].working_distance_mm < weak.outcomes[0].working_distance_mm  # type: ignore[operator]
    small, wide = (option(right__pupil=text).device.leading for text in ("3", "5"))
    assert wide.field.real_field_full_deg < small.field.real_field_full_deg  # type: ignore[operator]
    less, more = (option(right__sustained_accommodation=text).device.leading for text in ("0", "2"))
    assert more.near_limit_mm < less.near_limit_mm  # type: ignore[operator]


@FEW
@given(powers, lengths, sizes, st.floats(0.6, 6.0), st.floats(0.01, 0.5))
def test_finer_threshold_print_never_lowers_the_chance_of_print(
    power: float, length: float, size: float, threshold: float, finer: float
) -> None:
    """Smaller threshold print at the same distance gives at least the same chance of the goal's print."""
    stock = _stock(power, length, size, (4.0,))
    found = []
    for value in (threshold, threshold * (1.0 - finer)):
        option = _option(_case(NEAR, right__near_acuity=f"{value:.4f}M @ 40"), stock, cap="c0")
        assume(option is not None)
        found.append(option.outcomes[0].probability)  # type: ignore[union-attr]
    assume(None not in found)
    assert found[1] >= found[0] - 1e-12


@FEW
@given(
    powers,
    lengths,
    sizes,
    st.floats(6.0, 20.0),
    st.floats(0.1, 12.0),
    st.one_of(st.none(), st.floats(6.0, 24.0)),
)
def test_larger_eye_distance_never_enlarges_a_galilean_field(
    power: float, length: float, size: float, at: float, more: float, ocular: float | None
) -> None:
    """Farther from the eye the field is never larger, by any criterion, with or without an ocular that cuts it."""
    stock = _stock(power, length, size, ocular_diameter_mm=ocular)
    near, far = (
        _option(_case(GOAL, face__ocular_to_cornea=f"{value:.3f}"), stock) for value in (at, at + more)
    )
    assert near is not None and far is not None
    first, second = near.device.leading.field, far.device.leading.field
    assert second.real_field_deg <= first.real_field_deg + 1e-12
    assert second.apparent_field_deg <= first.apparent_field_deg + 1e-12
    for name in ("real_field_full_deg", "real_field_half_deg", "real_field_total_deg"):
        assert getattr(second, name) <= getattr(first, name) + 1e-12


@FEW
@given(powers, lengths, st.floats(0.5, 15.0), st.floats(0.01, 5.0), st.floats(-8.0, 3.0))
def test_stronger_cap_never_lengthens_the_working_distance(
    power: float, length: float, weak: float, more: float, sphere: float
) -> None:
    """A stronger cap works nearer and has the smaller equivalent distance, corrected or with the ametropia left in."""
    stock = _stock(power, length, 22.0, (weak, weak + more))
    case = _case(NEAR, right__refraction=f"{sphere:+.2f} sph")
    for correction in ("carrier", "none"):
        first, second = (_option(case, stock, cap=cap, correction=correction) for cap in ("c0", "c1"))
        if correction == "none" and (first is None or second is None):
            continue  # hyperopia left in can use a weak cap up
        assert first is not None and second is not None
        assert first.device.cap is not None and second.device.cap is not None
        assert second.device.cap.working_distance_mm <= first.device.cap.working_distance_mm + 1e-9
        assert second.device.cap.evd_mm <= first.device.cap.evd_mm + 1e-9


@FEW
@given(powers, lengths, sizes, st.floats(2.0, 6.0), st.floats(0.1, 3.0))
def test_wider_pupil_never_enlarges_what_is_fully_lit(
    power: float, length: float, size: float, pupil: float, more: float
) -> None:
    """A wider pupil makes the fully lit field smaller, and never the clear range longer."""
    small, wide = (
        _option(_case(GOAL, right__pupil=f"{value:.3f}"), _stock(power, length, size))
        for value in (pupil, pupil + more)
    )
    assert small is not None and wide is not None
    assert (
        wide.device.leading.field.real_field_full_deg
        <= small.device.leading.field.real_field_full_deg + 1e-12
    )  # type: ignore[operator]
    assert wide.device.leading.tolerance_d <= small.device.leading.tolerance_d + 1e-12


@FEW
@given(powers, lengths, sizes, st.floats(0.0, 5.0), st.floats(0.1, 5.0))
def test_more_accommodation_never_shrinks_the_clear_range(
    power: float, length: float, size: float, kept: float, more: float
) -> None:
    """With more accommodation that can be kept up the near limit comes nearer, never farther."""
    less, better = (
        _option(_case(GOAL, right__sustained_accommodation=f"{value:.3f}"), _stock(power, length, size))
        for value in (kept, kept + more)
    )
    assert less is not None and better is not None
    assert better.device.leading.near_limit_mm <= less.device.leading.near_limit_mm + 1e-9  # type: ignore[operator]


def _walk(value: Any) -> None:
    if isinstance(value, dict):
        for item in value.values():
            _walk(item)
    elif isinstance(value, list):
        for item in value:
            _walk(item)
    elif isinstance(value, float):
        assert isfinite(value)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.floats(1.06, 10.0), st.floats(8.0, 160.0), st.floats(6.0, 50.0), st.booleans(), st.floats(-30.0, 25.0),
    st.floats(-8.0, 8.0), st.floats(-0.2, 1.9), st.floats(1.5, 9.0), st.floats(0.0, 2.3), st.floats(0.3, 100.0),
    st.floats(0.25, 20.0),
)  # fmt: skip
def test_any_accepted_record_gives_a_plan_of_finite_numbers(
    power: float, length: float, size: float, keplerian: bool, sphere: float, cylinder: float, logmar: float,
    pupil: float, log_cs: float, metres: float, cap: float,
) -> None:  # fmt: skip
    """Whatever accepted figures are recorded, the plan comes without an exception, without NaN and without infinity."""
    assume(keplerian or power <= 6.0)
    more = {"type": "keplerian", "field_stop_mm": 8.0} if keplerian else {}
    stock = _stock(power, length, size, (cap,), **more)
    lens = f"{sphere:+.2f} {cylinder:+.2f} x 30" if abs(cylinder) >= 0.01 else f"{sphere:+.2f} sph"
    case = _case(
        {"task": "own words", "distance": f"{metres:.3f} m", "detail": "20/60"},
        right__refraction=lens,
        right__distance_acuity=f"{logmar:.3f} logMAR",
        left__distance_acuity="0.5 logMAR",
        right__pupil=f"{pupil:.2f}",
        right__contrast=f"{log_cs:.2f}",
        binocular__fusion="yes",
        test__refraction_vertex="12",
    )
    _walk(plan_data(plan(case, stock, SETTINGS), 40))
