"""Hazards, ways and muster points from the map layers of a lift folder."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from typing import Annotated, Literal, TypeVar

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from evac.errors import InputError, Problem
from evac.facts.lift import Hazard, MusterPoint, Triple, Way
from evac.frame import Frame
from evac.inputs.cells import (
    BLANK,
    POINT_READING,
    Identity,
    Names,
    Number,
    Text,
    Whole,
    YesOrBlank,
)
from evac.inputs.features import Feature
from evac.inputs.problems import did_you_mean, problem, reject
from evac.inputs.tables import read_row

HAZARD_KINDS = (
    "power line",
    "road",
    "water",
    "avalanche ground",
    "ledge",
    "steep ground",
    "rocks",
    "forest",
    "building",
    "fence",
)
"""What may lie under a line (rule 20)."""

WAY_TRAVEL: Mapping[str, tuple[str, ...]] = {
    "track": ("foot", "snow vehicle"),
    "piste": ("foot", "ski", "snow vehicle"),
    "path": ("foot",),
    "road": ("foot", "snow vehicle"),
    "lift": ("foot", "ski"),
    "open slope": ("foot", "ski"),
}
"""Kinds of way, and who may use one whose ``travel`` is left blank."""

FARTHEST_M = 30_000.0
"""Farther than this from the lift nothing of its evacuation is."""

Made = TypeVar("Made", bound=BaseModel)

MOST_WAYS = 1_000
"""More ways than any resort has near a lift; quickest paths through a web of them take
minutes."""


def _lower(value: object) -> object:
    return value.strip().lower() if isinstance(value, str) else value


class _Properties(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")


_Gate = Annotated[Annotated[Number, Field(ge=0, le=2_880)] | None, BLANK]


class HazardProperties(_Properties):
    """Properties of a feature of the hazard layer."""

    id: Identity
    kind: Annotated[
        Literal[
            "power line",
            "road",
            "water",
            "avalanche ground",
            "ledge",
            "steep ground",
            "rocks",
            "forest",
            "building",
            "fence",
        ],
        BeforeValidator(_lower),
    ]
    name: Text = ""
    opens_low_min: _Gate = None
    opens_min: _Gate = None
    opens_high_min: _Gate = None
    opened_by: Text = ""
    extra_s_per_passenger: Annotated[Number, Field(ge=0, le=7_200)] = 0.0
    extra_people: Annotated[Whole, Field(ge=0, le=50)] = 0
    note: Text = ""

    @model_validator(mode="after")
    def _gate(self) -> HazardProperties:
        three = (self.opens_low_min, self.opens_min, self.opens_high_min)
        given = [value for value in three if value is not None]
        if len(given) not in (0, 3):
            reject("all_three_or_none", column="opens_min")
        if given != sorted(given):
            shown = ", ".join(f"{value:g}" for value in given)
            reject("not_in_order", column="opens_min", three=shown)
        return self


class WayProperties(_Properties):
    """Properties of a feature of the access layer."""

    id: Identity
    kind: Annotated[
        Literal["track", "piste", "path", "road", "lift", "open slope"],
        BeforeValidator(_lower),
    ]
    name: Text = ""
    travel: Names = ()
    one_way: YesOrBlank = False
    speed_m_per_s: Annotated[Annotated[Number, Field(gt=0, le=30)] | None, BLANK] = None

    @model_validator(mode="after")
    def _travel_known(self) -> WayProperties:
        for mode in self.travel:
            if mode.lower() not in ("foot", "ski", "snow vehicle"):
                reject("travel_unknown", column="travel", mode=mode)
        if self.kind == "lift" and self.speed_m_per_s is None:
            reject("lift_without_speed", column="speed_m_per_s")
        return self


class MusterProperties(_Properties):
    """Properties of a feature of the muster layer."""

    id: Identity
    name: Text = ""
    shelter_places: Annotated[Whole, Field(ge=0, le=100_000)] = 0
    vehicle_seats: Annotated[Whole, Field(ge=0, le=1_000)] = 0
    vehicle_round_min: Annotated[Number, Field(ge=0, le=1_440)] = 0.0
    receivers: Annotated[Whole, Field(ge=0, le=1_000)] = 0

    @model_validator(mode="after")
    def _round_takes_time(self) -> MusterProperties:
        # A round of no time would have everybody driven on at once.
        if self.vehicle_seats > 0 and self.vehicle_round_min <= 0:
            reject("vehicle_without_round", column="vehicle_round_min")
        return self


def require_properties(features: Sequence[Feature], *, layer: str, file: str) -> None:
    """Check a layer where the lift's own place is not known yet.

    Parameters
    ----------
    features : sequence of Feature
        As read.
    layer : str
        ``"hazards"``, ``"access"`` or ``"muster"``.
    file : str
        Name of the layer's file.

    Raises
    ------
    InputError
        Listing every property that cannot be used.
    """
    models: dict[str, type[_Properties]] = {
        "hazards": HazardProperties,
        "access": WayProperties,
        "muster": MusterProperties,
    }
    _checked(features, model=models[layer], name=layer, file=file)


def hazards(
    features: Sequence[Feature], *, frame: Frame, file: str
) -> tuple[Hazard, ...]:
    """The hazards of a layer, in the lift's frame.

    Raises
    ------
    InputError
        Listing every property and geometry that cannot be used.
    """
    rows = _checked(features, model=HazardProperties, name="hazards", file=file)
    places = _placed(features, frame=frame, file=file)
    return tuple(
        Hazard(
            id=row.id,
            kind=row.kind,
            name=row.name,
            geometry=place if place.is_valid else shapely.make_valid(place),
            opens_s=_gate_s(row),
            opened_by=row.opened_by,
            extra_s_per_passenger=row.extra_s_per_passenger,
            extra_people=row.extra_people,
            note=row.note,
        )
        for row, place in zip(rows, places, strict=True)
    )


def ways(features: Sequence[Feature], *, frame: Frame, file: str) -> tuple[Way, ...]:
    """The ways of a layer, one line each, in the lift's frame.

    A feature of several lines becomes several ways, ``id/1``, ``id/2`` and so on.

    Raises
    ------
    InputError
        Listing every property and geometry that cannot be used.
    """
    if len(features) > MOST_WAYS:
        found = f"{len(features):,} ways"
        where = "the layer"
        raise InputError(
            file, [problem("too_large", where=where, found=found, most=MOST_WAYS)]
        )
    lines = ("LineString", "MultiLineString")
    _require_types(features, types=lines, wanted="a line", file=file)
    rows = _checked(features, model=WayProperties, name="access", file=file)
    made: list[Way] = []
    for row, place in zip(rows, _placed(features, frame=frame, file=file), strict=True):
        parts = [place] if isinstance(place, LineString) else list(_parts(place))
        for number, part in enumerate(parts, start=1):
            made.append(
                Way(
                    id=row.id if len(parts) == 1 else f"{row.id}/{number}",
                    kind=row.kind,
                    name=row.name,
                    geometry=part,
                    travel=tuple(m.lower() for m in row.travel) or WAY_TRAVEL[row.kind],
                    one_way=row.one_way,
                    speed_m_per_s=row.speed_m_per_s,
                )
            )
    return tuple(made)


def muster_points(
    features: Sequence[Feature], *, frame: Frame, file: str
) -> tuple[MusterPoint, ...]:
    """The muster points of a layer, in the lift's frame.

    Raises
    ------
    InputError
        Listing every property and geometry that cannot be used.
    """
    _require_types(features, types=("Point",), wanted="a point", file=file)
    rows = _checked(features, model=MusterProperties, name="muster", file=file)
    made = []
    for row, place in zip(rows, _placed(features, frame=frame, file=file), strict=True):
        spot = place if isinstance(place, Point) else place.centroid
        made.append(
            MusterPoint(
                id=row.id,
                name=row.name,
                x_m=spot.x,
                y_m=spot.y,
                shelter_places=row.shelter_places,
                vehicle_seats=row.vehicle_seats,
                vehicle_round_s=row.vehicle_round_min * 60,
                receivers=row.receivers,
            )
        )
    return tuple(made)


def far_away(frame: Frame, *, latitude_deg: float, longitude_deg: float) -> str | None:
    """Why a place cannot belong to the lift: ``"swapped"``, ``"far"``, or None."""
    if _distance_m(frame, latitude_deg, longitude_deg) <= FARTHEST_M:
        return None
    # Exchanged numbers that land at the lift are no accident.
    exchanged = abs(longitude_deg) <= 90
    if exchanged and _distance_m(frame, longitude_deg, latitude_deg) <= FARTHEST_M:
        return "swapped"
    return "far"


def _distance_m(
    frame: Frame, latitude_deg: ArrayLike, longitude_deg: ArrayLike
) -> NDArray[np.float64]:
    # Coarse on purpose: a map projection has no answer half the world away.
    here = np.radians(frame.latitude_deg)
    there = np.radians(np.asarray(latitude_deg, float))
    half_lon = np.radians(np.asarray(longitude_deg, float) - frame.longitude_deg) / 2
    share = np.sin((there - here) / 2) ** 2
    share = share + np.cos(here) * np.cos(there) * np.sin(half_lon) ** 2
    return np.asarray(2 * 6_371_000 * np.arcsin(np.sqrt(np.minimum(1.0, share))))


def _checked(
    features: Sequence[Feature], *, model: type[Made], name: str, file: str
) -> list[Made]:
    rows: list[Made] = []
    problems: list[Problem] = []
    seen: dict[str, str] = {}
    known = list(model.model_fields)
    for feature in features:
        cells = {key: cell for key, cell in feature.properties.items() if key in known}
        problems += _misspelt(feature, known)
        row, bad = read_row(
            dict(cells),
            model=model,
            name=name,
            where=feature.where,
            reading=POINT_READING,
            word="property",
        )
        problems += bad
        if row is None:
            continue
        identity = str(row.model_dump()["id"])
        if identity in seen:
            problems.append(
                problem(
                    "id_twice",
                    where=f"{feature.where}, property id",
                    found=identity,
                    other=seen[identity],
                )
            )
        seen[identity] = feature.where
        rows.append(row)
    if problems:
        raise InputError(file, problems)
    return rows


def _misspelt(feature: Feature, known: Sequence[str]) -> list[Problem]:
    """Properties that are nearly ours; wholly foreign ones are left alone."""
    found = []
    for key in feature.properties:
        free = [name for name in known if name not in feature.properties]
        if key not in known and difflib.get_close_matches(key, free, n=1, cutoff=0.85):
            near = did_you_mean(key, free)
            found.append(
                problem("unknown_property", where=feature.where, found=key, near=near)
            )
    return found


def _placed(
    features: Sequence[Feature], *, frame: Frame, file: str
) -> list[BaseGeometry]:
    """Geometries in the frame; refuses those that lie far from the lift."""

    def to_frame(degrees: NDArray[np.float64]) -> NDArray[np.float64]:
        x_m, y_m = frame.from_degrees(
            latitude_deg=degrees[:, 1], longitude_deg=degrees[:, 0]
        )
        return np.column_stack([x_m, y_m])

    problems = []
    for feature in features:
        fault = _far_fault(feature, frame)
        if fault is not None:
            problems.append(fault)
    if problems:
        raise InputError(file, problems)
    return [shapely.transform(feature.geometry, to_frame) for feature in features]


def _far_fault(feature: Feature, frame: Frame) -> Problem | None:
    """What is wrong with a feature that lies, or reaches, far from the lift."""
    places = shapely.get_coordinates(feature.geometry)
    apart_m = _distance_m(frame, places[:, 1], places[:, 0])
    for index in (0, int(np.argmax(apart_m))):
        longitude, latitude = (float(value) for value in places[index])
        reason = far_away(frame, latitude_deg=latitude, longitude_deg=longitude)
        if reason is None:
            continue
        key = "swapped_degrees" if reason == "swapped" else "far_from_lift"
        if index and apart_m[0] <= FARTHEST_M:
            key = "reaches_far"
        shown = f"{longitude:.6f}, {latitude:.6f}"
        return problem(key, where=feature.where, found=shown)
    return None


def _require_types(
    features: Sequence[Feature], *, types: tuple[str, ...], wanted: str, file: str
) -> None:
    problems = [
        problem(
            "wrong_geometry",
            where=feature.where,
            found=feature.geometry.geom_type,
            wanted=wanted,
        )
        for feature in features
        if feature.geometry.geom_type not in types
    ]
    if problems:
        raise InputError(file, problems)


def _parts(geometry: BaseGeometry) -> list[BaseGeometry]:
    return [part for part in shapely.get_parts(geometry) if not part.is_empty]


def _gate_s(row: HazardProperties) -> Triple | None:
    low, likely, high = row.opens_low_min, row.opens_min, row.opens_high_min
    if low is None or likely is None or high is None:
        return None
    return Triple(low=low * 60, likely=likely * 60, high=high * 60)
