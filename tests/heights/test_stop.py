"""Heights at one stop: against scipy, in the mirror, and nobody lost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from builders import along, make_lift
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_lines import five_lines
from scipy.optimize import brentq

from evac.facts.heights import StopHeights
from evac.facts.lift import Lift, LoadCase, Side, SupportKind, TensionState
from evac.heights.load_cases import DEFAULT_CASES
from evac.heights.side_model import span_of
from evac.heights.stop import side_models, stop_heights
from evac.line import lay_out

FULL = DEFAULT_CASES[0]


def at_stop(lift: Lift, case: LoadCase = FULL, **where: object) -> StopHeights:
    line = lay_out(lift)
    asked = {"side": Side.ASCENDING, "stop_offset_m": 7.0, **where}
    return stop_heights(lift, line, load_case=case, **asked)  # type: ignore[arg-type]  # forwarded


def scipy_carriers(lift: Lift, phase_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Carriers of the full ascending side, drive at the first station.

    From textbook catenaries and scipy's brentq alone: one root a span, one for the
    tension.
    """
    line = lay_out(lift)
    w = lift.rope.mass_kg_per_m * 9.80665
    stretch = 1 / lift.rope.axial_stiffness_n
    carriers = lift.carriers
    load = (
        carriers.empty_mass_kg + carriers.seats * carriers.passenger_mass_kg
    ) * 9.80665
    x, z = line.distance_m, line.rope_elevation_m

    def run(h: float, v: float, length: float) -> tuple[float, float, float]:
        end = v + w * length
        dx = h * length * stretch + h / w * (np.arcsinh(end / h) - np.arcsinh(v / h))
        dz = (end**2 - v**2) * stretch / (2 * w) + (
            np.hypot(h, end) - np.hypot(h, v)
        ) / w
        return dx, dz, end

    def span(t: float, angle: float, far: float, gap: float) -> tuple:
        h, v, at, up, found = t * np.cos(angle), t * np.sin(angle), 0.0, 0.0, []
        while True:
            dx, dz, end = run(h, v, gap)
            if at + dx > far:
                last = brentq(
                    lambda s, v, at: at + run(h, v, s)[0] - far,
                    0,
                    gap,
                    args=(v, at),
                    xtol=1e-13,
                )
                dx, dz, end = run(h, v, last)
                return up + dz, np.hypot(h, end), gap - last, found
            at, up, v = at + dx, up + dz, end + load
            found.append((at, up))
            gap = carriers.spacing_m

    def side(t: float) -> tuple[float, list[tuple[float, float]]]:
        gap, all_found = phase_m, []
        for i in range(x.size - 1):
            rise, far = z[i + 1] - z[i], x[i + 1] - x[i]
            chord = np.arctan2(rise, far)
            angle = brentq(
                lambda a, *rest: span(rest[0], a, *rest[1:3])[0] - rest[3],
                chord - 0.4,
                chord,
                args=(t, far, gap, rise),
                xtol=1e-15,
            )
            _, t, gap, found = span(t, angle, far, gap)
            all_found += [(x[i] + a, z[i] + b) for a, b in found]
        return t, all_found

    wanted = lift.tension.force_n / 2
    t = brentq(lambda t: side(t)[0] - wanted, 0.6 * wanted, 1.1 * wanted, xtol=1e-7)
    places = np.array(side(t)[1])
    return places[:, 0], places[:, 1]


@pytest.mark.parametrize("offset_m", [3.0, 17.3])
def test_carriers_stand_where_scipy_puts_them(offset_m: float) -> None:
    # Reference: textbook elastic catenary (Irvine, "Cable Structures", 1981, ch. 2)
    # solved span by span with scipy.optimize.brentq; nothing of evac.rope is used.
    lift = make_lift()
    found = at_stop(lift, stop_offset_m=offset_m).carriers
    x_m, z_m = scipy_carriers(lift, offset_m)
    assert found.distance_m == pytest.approx(x_m, abs=1e-6)
    assert found.rope_elevation_m == pytest.approx(z_m, abs=1e-6)


def mirrored(lift: Lift) -> Lift:
    """The same line drawn from its other station."""
    length_m = lift.supports[-1].distance_m
    supports = tuple(
        replace(
            support,
            distance_m=length_m - support.distance_m,
            x_m=along(length_m - support.distance_m)[0],
            y_m=along(length_m - support.distance_m)[1],
        )
        for support in reversed(lift.supports)
    )
    table = lift.ground_table
    assert table is not None
    return replace(
        lift,
        supports=supports,
        ground_table=replace(
            table,
            distance_m=length_m - table.distance_m[::-1],
            ascending_m=table.ascending_m[::-1],
            descending_m=table.descending_m[::-1],
        ),
        upper_is_last=not lift.upper_is_last,
        drive_at_last=not lift.drive_at_last,
        ascending_on_right=not lift.ascending_on_right,
    )


@settings(max_examples=20, deadline=None)
@given(
    offset_m=st.floats(0, 30),
    case=st.sampled_from(DEFAULT_CASES),
    side=st.sampled_from(list(Side)),
)
def test_a_line_drawn_from_its_other_station_has_the_same_heights(
    offset_m: float, case: LoadCase, side: Side
) -> None:
    lift = make_lift()
    one = at_stop(lift, case, stop_offset_m=offset_m, side=side)
    other = at_stop(mirrored(lift), case, stop_offset_m=offset_m, side=side)
    assert other.carriers.rope_height_m[::-1] == pytest.approx(
        one.carriers.rope_height_m, abs=1e-7, nan_ok=True
    )
    assert other.carriers.people[::-1] == pytest.approx(one.carriers.people)
    assert other.loads.load_n[::-1] == pytest.approx(
        one.loads.load_n, abs=1e-3, nan_ok=True
    )


@settings(max_examples=30, deadline=None)
@given(offset_m=st.floats(0, 30), name=st.sampled_from(sorted(five_lines())))
def test_every_carrier_is_in_exactly_one_span_and_hangs_seat_below_rope(
    offset_m: float, name: str
) -> None:
    lift = five_lines()[name]
    line = lay_out(lift)
    for side in Side:
        found = at_stop(lift, stop_offset_m=offset_m, side=side).carriers
        assert (np.diff(found.distance_m) > 0).all()
        assert sorted(found.ordinal) == list(range(found.ordinal.size))
        starts = np.array([line.spans[i].start_m for i in found.span_index])
        ends = np.array([line.spans[i].end_m for i in found.span_index])
        assert (found.distance_m <= ends + 1e-4).all()
        assert (found.distance_m >= starts - 1e-4).all()
        known = found.known
        assert found.seat_height_m[known] == pytest.approx(
            found.rope_height_m[known] - lift.carriers.rope_to_seat_m
        )
        assert found.attachment_height_m[known] == pytest.approx(
            found.rope_height_m[known] - lift.carriers.rope_to_descender_m
        )
        assert np.isnan(found.rope_height_m[~known]).all()


def test_a_carrier_right_on_a_support_is_in_the_lower_numbered_span() -> None:
    line = lay_out(make_lift())
    spans = span_of(line, np.array([0.0, 110.0, 110.001, 345.0, 600.0]))
    assert list(spans) == [0, 0, 1, 2, 4]


def test_the_two_sides_of_a_fixed_grip_lift_are_tied_by_the_loop() -> None:
    # By hand: a carrier s along the loop from one side of the drive is L - s from
    # the other; L = 1507 m = 125 spacings and 7 m.
    lift = five_lines()["flat, fixed grips 12 m apart"]
    up = at_stop(lift, stop_offset_m=5.0).carriers
    down = at_stop(lift, stop_offset_m=5.0, side=Side.DESCENDING).carriers
    # Stretch of some thousandths of the first metres only.
    assert up.distance_m[0] == pytest.approx(5.0, abs=0.05)
    assert down.distance_m[0] == pytest.approx(2.0, abs=0.05)


def test_beside_a_doubtful_support_no_height_is_known() -> None:
    # Rule 9 of the trade.
    lift = make_lift()
    supports = list(lift.supports)
    supports[2] = replace(supports[2], doubtful=True)
    found = at_stop(replace(lift, supports=tuple(supports))).carriers
    assert not found.known[np.isin(found.span_index, [1, 2])].any()
    assert found.known[~np.isin(found.span_index, [1, 2])].all()


def test_a_seat_in_the_ground_has_no_height() -> None:
    lift = make_lift()
    table = lift.ground_table
    assert table is not None
    hill = table.ascending_m + 12 * (np.abs(table.distance_m - 170) < 20)
    found = at_stop(
        replace(lift, ground_table=replace(table, ascending_m=hill))
    ).carriers
    over = np.abs(found.distance_m - 170) < 14
    assert over.any()
    assert not found.known[over].any()
    assert np.isnan(found.seat_height_m[over]).all()


def test_held_at_the_drive_the_two_sides_share_the_force_there() -> None:
    lift = make_lift()
    lift = replace(lift, tension=replace(lift.tension, held_at_drive=True))
    up = at_stop(lift).loads.tension_n
    down = at_stop(lift, side=Side.DESCENDING).loads.tension_n
    assert up[0] + down[0] == pytest.approx(lift.tension.force_n, rel=1e-9)
    assert up[-1] == pytest.approx(down[-1], rel=1e-9)
    # The full side pulls harder at the top, so its share at the drive is less.
    assert up[0] < down[0]


def test_what_the_tension_does_later_does_not_change_the_stop() -> None:
    lift = make_lift()
    locked = replace(lift, tension=replace(lift.tension, state=TensionState.LOCKED))
    assert at_stop(locked).carriers.rope_height_m == pytest.approx(
        at_stop(lift).carriers.rope_height_m
    )


def test_blank_kinds_are_inferred_from_the_bare_rope() -> None:
    lift = five_lines()["valley with a hold-down, tension at the upper end"]
    blank = tuple(replace(support, kind=None) for support in lift.supports)
    bare = replace(lift, supports=blank)
    kinds = side_models(bare, lay_out(bare))[Side.ASCENDING].kinds
    # The valley's floor needs a hold-down.
    assert kinds[3] is SupportKind.HOLD_DOWN
    assert SupportKind.SUPPORT in kinds
    assert kinds[0] is kinds[-1] is SupportKind.STATION
    gully = make_lift()
    again = replace(
        gully,
        supports=tuple(replace(support, kind=None) for support in gully.supports),
    )
    found = side_models(again, lay_out(again))[Side.ASCENDING].kinds
    assert found[4] is SupportKind.SUPPORT
