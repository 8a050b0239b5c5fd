"""Daylight: what must always hold."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from builders import make_lift

from evac.clock import is_dark
from evac.daylight import in_the_dark, light_of, sun_of, sun_times
from evac.errors import NoPlanError

ALPS: dict[str, Any] = {
    "latitude_deg": 46.8,
    "longitude_deg": 9.9,
    "time_zone": "Europe/Zurich",
}


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        (43.06, 141.3, "Asia/Tokyo"),
        (-45.0, 168.7, "Pacific/Auckland"),
        (49.0, -120.0, "America/Vancouver"),
        (-33.3, -70.3, "America/Santiago"),
    ],
)
@pytest.mark.parametrize("month", [1, 4, 7, 10])
def test_the_day_lies_within_the_local_date_all_round_the_earth(
    latitude: float, longitude: float, zone: str, month: int
) -> None:
    day = sun_times(
        dt.date(2026, month, 15),
        latitude_deg=latitude,
        longitude_deg=longitude,
        time_zone=zone,
    )
    assert day.sunrise_s is not None
    assert day.sunset_s is not None
    assert day.dusk_s is not None
    assert 0 < day.sunrise_s < day.noon_s < day.sunset_s < day.dusk_s < 86_400
    # Half days on both sides of noon are equal to a few minutes.
    assert day.noon_s - day.sunrise_s == pytest.approx(
        day.sunset_s - day.noon_s, abs=240
    )


def test_clocks_put_forward_move_the_sunset_by_an_hour() -> None:
    before = sun_times(dt.date(2026, 3, 28), **ALPS).sunset_s
    after = sun_times(dt.date(2026, 3, 29), **ALPS).sunset_s
    assert before is not None
    assert after is not None
    assert after - before == pytest.approx(3600, abs=120)


def test_a_skyline_never_makes_dusk_later() -> None:
    date = dt.date(2026, 1, 20)
    dusks = [
        sun_times(date, **ALPS, skyline_angle_deg=angle).dusk_s
        for angle in range(0, 25, 4)
    ]
    known = [dusk for dusk in dusks if dusk is not None]
    assert len(known) == len(dusks)
    assert known == sorted(known, reverse=True)


def test_a_valley_that_the_sun_never_reaches_is_dark_all_day() -> None:
    # At 46.8 N on 20 January the sun climbs to 90 - 46.8 - 20.1 = 23 degrees.
    deep = sun_times(dt.date(2026, 1, 20), **ALPS, skyline_angle_deg=30.0)
    assert deep.dark_all_day
    assert deep.dusk_s is None


def test_a_night_without_dark_and_a_day_without_light_are_told_apart() -> None:
    north = {"latitude_deg": 69.6, "longitude_deg": 19.0, "time_zone": "Europe/Oslo"}
    summer = sun_times(dt.date(2026, 6, 21), **north)
    assert (summer.sunset_s, summer.dusk_s, summer.dark_all_day) == (None, None, False)
    far = {**north, "latitude_deg": 78.2}
    winter = sun_times(dt.date(2026, 12, 21), **far)
    assert (winter.sunset_s, winter.dusk_s, winter.dark_all_day) == (None, None, True)


def test_an_unknown_time_zone_is_refused_with_what_to_write() -> None:
    with pytest.raises(NoPlanError, match=r"'Alps/Valley' is not known; give an IANA"):
        sun_times(
            dt.date(2026, 1, 1),
            latitude_deg=46,
            longitude_deg=7,
            time_zone="Alps/Valley",
        )


@pytest.mark.parametrize(
    ("latitude", "skyline_deg", "stop_h"), [(46.8, 33.0, 5.0), (70.0, 0.0, 7.0)]
)
def test_a_deep_valley_is_dark_before_dawn_too(
    latitude: float, skyline_deg: float, stop_h: float
) -> None:
    # The sun does not rise there, and yet it dawns; before that it is dark.
    lift = make_lift()
    lift = replace(
        lift,
        latitude_deg=latitude,
        longitude_deg=15.0,
        conditions=replace(
            lift.conditions,
            date=dt.date(2026, 12, 21),
            stop_clock_s=stop_h * 3600.0,
            time_zone="Etc/GMT-1",
            skyline_angle_deg=skyline_deg,
            night=False,
        ),
    )
    assert sun_of(lift).sunrise_s is None
    light = light_of(lift)
    # It dawns some hours after the stop; polar and valley days are short.
    assert 3600.0 < light.from_s < 6 * 3600.0
    seconds = np.array([1000.0])
    assert in_the_dark(seconds, light)[0] == pytest.approx(1300.0)
    assert is_dark(lift)


def test_in_the_polar_night_all_is_done_in_the_dark() -> None:
    lift = make_lift()
    lift = replace(
        lift,
        latitude_deg=78.0,
        longitude_deg=15.0,
        conditions=replace(
            lift.conditions, date=dt.date(2026, 12, 21), time_zone="Etc/GMT-1"
        ),
    )
    shown = in_the_dark(np.array([1000.0]), light_of(lift))
    assert shown[0] == pytest.approx(1300.0)
