"""Sunset and dusk at the lift, clock times, and what work in the dark takes."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np
from astral import Observer, SunDirection
from astral.sun import elevation, noon, time_at_elevation

from evac.errors import NoPlanError
from evac.factors import NIGHT
from evac.facts.lift import Conditions, FloatArray, Lift, Team, Triple

SUNSET_ELEVATION_DEG = -0.833
"""Centre of the sun at sunset: refraction and the sun's radius (zenith 90.833)."""

DUSK_ELEVATION_DEG = -6.0
"""End of civil twilight (zenith 96): outdoor work needs lamps from here on."""

_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SunTimes:
    """Clock times of one day, seconds after local midnight; None: does not happen.

    ``dawn_s`` and ``dusk_s`` are when the sun's centre stands 6 degrees below the
    skyline. Where the
    sun stays below that all day, ``dark_all_day`` is True; where it stays above all
    day both times are None and ``dark_all_day`` is False.
    """

    dawn_s: float | None
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
    zone = _zone(time_zone)
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
        dawn_s=clock_s(dusk_deg, SunDirection.RISING),
        sunrise_s=clock_s(sunset_deg, SunDirection.RISING),
        noon_s=noon_s,
        sunset_s=clock_s(sunset_deg, SunDirection.SETTING),
        dusk_s=clock_s(dusk_deg, SunDirection.SETTING),
        dark_all_day=highest_deg <= dusk_deg,
    )


def sun_of(lift: Lift) -> SunTimes:
    """The sun at a lift on the planned day."""
    conditions = lift.conditions
    return sun_times(
        conditions.date,
        latitude_deg=lift.latitude_deg,
        longitude_deg=lift.longitude_deg,
        time_zone=conditions.time_zone,
        skyline_angle_deg=conditions.skyline_angle_deg,
    )


def clock_after(conditions: Conditions, after_stop_s: float) -> float:
    """What the clock on the wall shows so long after the stop.

    Parameters
    ----------
    conditions : Conditions
        With the planned day, the clock time of the stop and the time zone.
    after_stop_s : float
        May be negative: before the stop.

    Returns
    -------
    float
        Seconds after midnight of the planned day as clocks show them, so that the
        sum is an hour off in a night when clocks change.
    """
    zone = _zone(conditions.time_zone)
    stop = _instant(conditions, conditions.stop_clock_s)
    at = (stop + dt.timedelta(seconds=after_stop_s)).astimezone(zone)
    return _since_midnight_s(at, conditions.date)


def seconds_after_stop(conditions: Conditions, clock_s: float) -> float:
    """How long after the stop the clock on the wall shows a time.

    The inverse of `clock_after`. Of two equal times of an autumn night the first is
    meant; a time that a spring night leaves out counts on from before the change.
    """
    stop = _instant(conditions, conditions.stop_clock_s)
    return (_instant(conditions, clock_s) - stop).total_seconds()


def _instant(conditions: Conditions, clock_s: float) -> dt.datetime:
    midnight = dt.datetime.combine(conditions.date, dt.time())
    shown = midnight + dt.timedelta(seconds=clock_s)
    return shown.replace(tzinfo=_zone(conditions.time_zone)).astimezone(dt.UTC)


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        message = (
            f"time_zone {name!r} is not known; give an IANA name such as "
            "Europe/Vienna in [conditions] of lift.toml"
        )
        raise NoPlanError(message) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """From when to when there is daylight, in seconds after the stop or the order.

    Infinite where it neither begins nor ends on the planned day.
    """

    from_s: float
    to_s: float

    def seen_from(self, later_s: float) -> Light:
        """The same, counted from so much later."""
        return Light(from_s=self.from_s - later_s, to_s=self.to_s - later_s)


ALWAYS_LIGHT = Light(from_s=-math.inf, to_s=math.inf)


def light_of(lift: Lift) -> Light:
    """Daylight in seconds after the stop, as far as step times are those of daylight.

    Endless where the plan is for the night: its step times are those of the night.
    It begins with sunrise or, where the sun stays behind the skyline, with dawn. Where
    the sun never comes near the skyline, noon is the best light there is and counts as
    dusk, and the light begins as over a flat horizon; in the polar night never.
    """
    if lift.conditions.night:
        return ALWAYS_LIGHT
    sun = sun_of(lift)

    def after_stop_s(clock_s: float | None, otherwise_s: float) -> float:
        if clock_s is None:
            return otherwise_s
        return seconds_after_stop(lift.conditions, clock_s)

    last_s = sun.dusk_s
    if sun.dark_all_day:
        last_s = sun.noon_s
        flat = replace(lift.conditions, skyline_angle_deg=0.0)
        sun = sun_of(replace(lift, conditions=flat))
        if sun.dark_all_day:
            return Light(from_s=-math.inf, to_s=-math.inf)
    first_s = sun.dawn_s if sun.sunrise_s is None else sun.sunrise_s
    return Light(
        from_s=after_stop_s(first_s, -math.inf),
        to_s=after_stop_s(last_s, math.inf),
    )


def by_night(lift: Lift) -> Lift:
    """The lift with its stated times as long as they take at night (rule 27).

    Getting ready, line secured, ways, gates and what they add to a rescue, vehicle
    rounds, informers, the stand-down and the way to a safe place. Step times of rescues
    get their factor where they are looked up (`evac.timing.steps.day_factor`). The same
    lift where the plan is not for the night, or the night is already counted.
    """
    if not lift.conditions.night or lift.night_counted:
        return lift

    def slower(stated: Triple) -> Triple:
        return Triple(
            low=NIGHT * stated.low,
            likely=NIGHT * stated.likely,
            high=NIGHT * stated.high,
        )

    def later(teams: tuple[Team, ...]) -> tuple[Team, ...]:
        return tuple(replace(team, ready_s=NIGHT * team.ready_s) for team in teams)

    organisation = lift.organisation
    return replace(
        lift,
        night_counted=True,
        teams=later(lift.teams),
        off_duty=later(lift.off_duty),
        organisation=replace(
            organisation,
            order_to_secured_s=slower(organisation.order_to_secured_s),
            standdown_s=slower(organisation.standdown_s),
            informer_speed_m_per_s=organisation.informer_speed_m_per_s / NIGHT,
            ground_to_safe_s=slower(organisation.ground_to_safe_s),
        ),
        travel=replace(lift.travel, night_factor=NIGHT),
        hazards=tuple(
            replace(
                hazard,
                opens_s=None if hazard.opens_s is None else slower(hazard.opens_s),
                extra_s_per_passenger=NIGHT * hazard.extra_s_per_passenger,
            )
            for hazard in lift.hazards
        ),
        muster_points=tuple(
            replace(point, vehicle_round_s=NIGHT * point.vehicle_round_s)
            for point in lift.muster_points
        ),
    )


def in_the_dark(seconds: FloatArray, light: Light) -> FloatArray:
    """How long work takes with its part in the dark at the pace of the night.

    Parameters
    ----------
    seconds : ndarray
        From the order, at the pace of daylight throughout.
    light : Light
        Counted from the order. What comes after its end stays dark.

    Notes
    -----
    Before first light and after dusk everything takes 1.3 times as long (rule 27),
    waiting too: the cautious reading.
    """
    dawn_s = _dark_at_first_s(light)
    by_dawn_s = dawn_s / NIGHT
    shown = np.where(
        seconds <= by_dawn_s, NIGHT * seconds, seconds + dawn_s - by_dawn_s
    )
    dusk_s = max(light.to_s, dawn_s)
    return np.asarray(shown + (NIGHT - 1) * np.maximum(shown - dusk_s, 0.0))


def by_daylight(seconds: FloatArray, light: Light) -> FloatArray:
    """The inverse of `in_the_dark`: at the pace of daylight throughout."""
    dawn_s = _dark_at_first_s(light)
    dusk_s = max(light.to_s, dawn_s)
    shown = seconds - (1 - 1 / NIGHT) * np.maximum(seconds - dusk_s, 0.0)
    return np.where(shown <= dawn_s, shown / NIGHT, shown - (dawn_s - dawn_s / NIGHT))


def _dark_at_first_s(light: Light) -> float:
    """How long after the order it is still dark; 0 by day, and after dusk for good."""
    return max(light.from_s, 0.0) if light.to_s > 0 else 0.0


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
