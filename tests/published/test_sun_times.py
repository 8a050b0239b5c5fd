"""Sunset and dusk against values derived elsewhere.

Place and date of the first day are those of the worked example of I. Reda and
A. Andreas, "Solar position algorithm for solar radiation applications" (NREL,
TP-560-34302).
All times were derived outside this project from the usual solar formulas, for zenith
90.833 and 96; none is copied from an almanac. 60 s: such formulas differ by a part of a
minute, and people read minutes.
"""

from __future__ import annotations

import datetime as dt

import pytest

from evac.daylight import sun_times


def seconds(clock: str) -> float:
    parts = [float(part) for part in clock.split(":")]
    return 3600 * parts[0] + 60 * parts[1] + (parts[2] if len(parts) == 3 else 0.0)


@pytest.mark.parametrize(
    ("date", "place", "zone", "rise", "noon", "sunset", "dusk"),
    [
        (
            dt.date(2003, 10, 17),
            (39.742476, -105.1786),
            "Etc/GMT+7",
            "06:12:43",
            "11:46:04",
            "17:18:51",
            None,
        ),
        (
            dt.date(2024, 12, 21),
            (61.31, 12.26),
            "Europe/Oslo",
            "09:27",
            "12:09",
            "14:52",
            "15:55",
        ),
        (
            dt.date(2024, 12, 21),
            (46.02, 7.75),
            "Europe/Zurich",
            "08:08",
            "12:27",
            "16:46",
            "17:21",
        ),
    ],
)
def test_sun_times_agree_with_those_derived_by_the_solar_position_algorithm(
    date: dt.date,
    place: tuple[float, float],
    zone: str,
    rise: str,
    noon: str,
    sunset: str,
    dusk: str | None,
) -> None:
    found = sun_times(
        date, latitude_deg=place[0], longitude_deg=place[1], time_zone=zone
    )
    assert found.sunrise_s == pytest.approx(seconds(rise), abs=60)
    assert found.noon_s == pytest.approx(seconds(noon), abs=60)
    assert found.sunset_s == pytest.approx(seconds(sunset), abs=60)
    if dusk is not None:
        assert found.dusk_s == pytest.approx(seconds(dusk), abs=60)


def test_the_sunset_often_quoted_with_the_example_is_of_the_day_before() -> None:
    # 17:20:19 is quoted for 17 October; it is the sunset of the 16th.
    day_before = sun_times(
        dt.date(2003, 10, 16),
        latitude_deg=39.742476,
        longitude_deg=-105.1786,
        time_zone="Etc/GMT+7",
    )
    assert day_before.sunset_s == pytest.approx(seconds("17:20:19"), abs=15)
