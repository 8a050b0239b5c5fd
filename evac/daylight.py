"""Sunset and dusk at the lift."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from astral import Observer, SunDirection
from astral.sun import elevation, noon, time_at_elevation

from evac.errors import NoPlanError

SUNSET_ELEVATION_DEG = -0.833
"""Centre of the sun at sunset: refraction and the sun's radius (zenith 90.833)."""

DUSK_ELEVATION_DEG = -6.0
"""End of civil twilight (zenith 96): outdoor work needs lamps from here on."""

_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SunTimes:
    """Clock times of one day, seconds after local midnight; None: does not happen.

    ``dusk_s`` is when the sun's centre stands 6 degrees below the skyline. Where the
    sun stays below that all day, ``dark_all_day`` is True; where it stays above all
    day both times are None and ``dark_all_day`` is False.
    """

    sunrise_s: float | None
    noon_s: float
    sunset_s: float | None
    dusk_s: float | None
    dark_all_day: bool


def sun_times(
    date: dt.date,
    *,
    latitude_deg: float,
    longitude_deg: float,
    time_zone: str,
    skyline_angle_deg: float = 0.0,
) -> SunTimes:
    """When the sun rises, culminates, sets, and when it is dusk.

    Parameters
    ----------
    date : dt.date
        The local day.
    latitude_deg, longitude_deg : float
        WGS 84, north and east positive.
    time_zone : str
        IANA name, such as ``"Europe/Vienna"``.
    skyline_angle_deg : float
        Elevation of the skyline where the sun goes down [deg], 0 or more: a mountain
        shortens the day. The sun sets and dusk falls as if the horizon stood so high,
        which is early, never late.

    Returns
    -------
    SunTimes

    Raises
    ------
    NoPlanError
        If the time zone is not known.

    References
    ----------
    .. [1] J. Meeus, "Astronomical Algorithms", 2nd ed., Willmann-Bell, 1998, ch. 25,
       through the library astral, which uses the low-accuracy solar position.

    Examples
    --------
    >>> import datetime as dt
    >>> day = sun_times(
    ...     dt.date(2024, 12, 21), latitude_deg=46.02, longitude_deg=7.75,
    ...     time_zone="Europe/Zurich",
    ... )
    >>> f"{day.sunset_s // 3600:.0f} h {day.sunset_s % 3600 // 60:.0f} min"
    '16 h 46 min'
    """
    try:
        zone = ZoneInfo(time_zone)
    except (KeyError, ValueError, OSError):
        message = (
            f"time_zone {time_zone!r} is not known; give an IANA name such as "
            "Europe/Vienna in [conditions] of lift.toml"
        )
        raise NoPlanError(message) from None
    place = Observer(latitude=latitude_deg, longitude=longitude_deg)
    culminates = _noon(place, date, zone)
    noon_s = _since_midnight_s(culminates, date)
    highest_deg = elevation(place, culminates, with_refraction=False)
    sunset_deg = SUNSET_ELEVATION_DEG + skyline_angle_deg
    dusk_deg = DUSK_ELEVATION_DEG + skyline_angle_deg

    def clock_s(elevation_deg: float, direction: SunDirection) -> float | None:
        if elevation_deg >= highest_deg:
            return None
        near = 1.0 if direction is SunDirection.SETTING else -1.0
        for day in _days_around(date):
            try:
                at = time_at_elevation(
                    place, elevation_deg, day, direction, zone, with_refraction=False
                )
            except ValueError:  # the sun stays above it all day
                return None
            found_s = _since_midnight_s(at, date)
            if 0 <= near * (found_s - noon_s) <= _DAY_S / 2:
                return found_s
        return None

    return SunTimes(
        sunrise_s=clock_s(sunset_deg, SunDirection.RISING),
        noon_s=noon_s,
        sunset_s=clock_s(sunset_deg, SunDirection.SETTING),
        dusk_s=clock_s(dusk_deg, SunDirection.SETTING),
        dark_all_day=highest_deg <= dusk_deg,
    )


def _days_around(date: dt.date) -> tuple[dt.date, ...]:
    # The library counts days by UTC, so far from Greenwich the local day's event may
    # stand under the day before or after.
    return tuple(date + dt.timedelta(days=days) for days in (0, -1, 1))


def _noon(place: Observer, date: dt.date, zone: ZoneInfo) -> dt.datetime:
    candidates = [noon(place, day, zone) for day in _days_around(date)]
    return min(candidates, key=lambda at: abs(_since_midnight_s(at, date) - _DAY_S / 2))


def _since_midnight_s(at: dt.datetime, date: dt.date) -> float:
    clock = at.hour * 3600.0 + at.minute * 60.0 + at.second + at.microsecond / 1e6
    return clock + _DAY_S * (at.date() - date).days
