"""The plan as tables, and as files for receivers and map programs.

XLSX for people, plan.json for the comparison with a later plan, GPX and GeoJSON for
devices. Every writer returns bytes; the same plan gives the same bytes.
"""

from __future__ import annotations

import io
import json
import math
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

import gpxpy.gpx
import numpy as np
from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from shapely.geometry import LineString, mapping
from shapely.ops import transform

from evac.facts.plan import Plan
from evac.frame import Frame
from evac.words import Words

Entry = str | float | int | date | None

_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
_FORMATS = {"_m": "0.0", "_kn": "0.0", "_min": "0", "_deg": "0.0"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A sheet: name, column headings (units in the name), rows of typed entries."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Entry, ...], ...]


def plan_tables(plan: Plan, words: Words) -> tuple[Table, ...]:
    """All tables of a plan, in the order of the workbook."""
    return (
        _summary(plan, words),
        _units(plan, words),
        _reach(plan, words),
        _zones(plan, words),
        _schedule(plan, words),
        _supports(plan, words),
        _findings(plan, words),
        Table(
            name=words.say("tables.sheet_assumptions"),
            columns=("key", "value", "reason", "accepted"),
            rows=tuple(
                (item.key, item.value, item.reason, _yes(item.accepted, words))
                for item in plan.lift.assumptions
            ),
        ),
        Table(
            name=words.say("tables.sheet_cautions"),
            columns=("caution",),
            rows=tuple((words.say(f"cautions.c{n}"),) for n in range(1, 5)),
        ),
    )


def _yes(value: bool, words: Words) -> str:
    return words.say("tables.yes" if value else "tables.no")


def _summary(plan: Plan, words: Words) -> Table:
    simulation, clock = plan.simulation, plan.clock
    binding = clock.binding
    rows: list[tuple[Entry, ...]] = [
        ("lift", plan.lift.name),
        ("operator", plan.lift.operator),
        ("revision", plan.lift.revision),
        ("planned for", plan.date),
        ("input fingerprint", plan.fingerprint),
        ("everyone reached", _yes(plan.everyone_reached, words)),
        (
            "limit met at P90",
            words.say("tables.not_known")
            if plan.limit_met is None
            else _yes(plan.limit_met, words),
        ),
        ("order to last on the ground, likely [min]", plan.schedule.clear_s / 60),
        ("order to last on the ground, P50 [min]", simulation.p50_s / 60),
        ("order to last on the ground, P90 [min]", simulation.p90_s / 60),
        ("order to all in safety, P90 [min]", simulation.safe_p90_s / 60),
        (
            "latest order after the stop [min]",
            binding.after_stop_s / 60 if binding else None,
        ),
        ("assignment proven optimal", _yes(plan.assignment.proven, words)),
        ("caution", words.say("cautions.short")),
    ]
    return Table(
        name=words.say("tables.sheet_summary"),
        columns=("item", "value"),
        rows=tuple(rows),
    )


def _units(plan: Plan, words: Words) -> Table:
    return Table(
        name=words.say("tables.sheet_units"),
        columns=(
            "side",
            "span",
            "known",
            "rope greatest_m",
            "rope least_m",
            "seat greatest_m",
            "seat least_m",
            "margin_m",
            "greatest at distance_m",
            "carriers at most",
        ),
        rows=tuple(
            (
                unit.side.value,
                unit.span_id,
                _yes(unit.known, words),
                unit.rope_greatest_m,
                unit.rope_least_m,
                unit.seat_greatest_m,
                unit.seat_least_m,
                unit.margin_m,
                unit.greatest_at_m,
                unit.carriers_most,
            )
            for unit in plan.heights.units
        ),
    )


def _reach(plan: Plan, words: Words) -> Table:
    options = plan.work.options
    spans = plan.heights.line.spans
    return Table(
        name=words.say("tables.sheet_reach"),
        columns=(
            "side",
            "span",
            "team",
            "kit",
            "technique",
            "rope needed_m",
            "rope carried_m",
            "reaches",
            "decided by",
        ),
        rows=tuple(
            (
                reach.side.value,
                spans[reach.span_index].id,
                options[reach.option_index].team,
                options[reach.option_index].kit,
                options[reach.option_index].technique,
                reach.rope_needed_m,
                reach.rope_have_m,
                _yes(reach.ok, words),
                reach.limit,
            )
            for reach in plan.reaches
        ),
    )


def _zones(plan: Plan, words: Words) -> Table:
    spans = plan.heights.line.spans
    supports = plan.lift.supports
    rows: list[tuple[Entry, ...]] = [
        (
            zone.team,
            spans[zone.first_span].id,
            spans[zone.last_span].id,
            " + ".join(side.value for side in zone.sides),
            zone.option.technique,
            zone.option.kit,
            supports[zone.start_support].id,
            zone.arrival_s / 60,
            zone.start_s / 60,
            zone.finish_s / 60,
            zone.people,
        )
        for zone in plan.assignment.zones
    ]
    return Table(
        name=words.say("tables.sheet_zones"),
        columns=(
            "team",
            "first span",
            "last span",
            "sides",
            "technique",
            "kit",
            "enters at support",
            "arrives_min",
            "starts_min",
            "clear_min",
            "people at most",
        ),
        rows=tuple(rows),
    )


def _schedule(plan: Plan, words: Words) -> Table:
    spans = plan.heights.line.spans
    return Table(
        name=words.say("tables.sheet_schedule"),
        columns=(
            "team",
            "order",
            "side",
            "span",
            "distance_m",
            "people planned",
            "seat height_m",
            "rope needed_m",
            "begins_min",
            "ends_min",
        ),
        rows=tuple(
            (
                rescue.team,
                rescue.order,
                rescue.side.value,
                spans[rescue.span_index].id,
                rescue.distance_m,
                rescue.people,
                rescue.seat_height_m,
                rescue.rope_needed_m,
                rescue.start_s / 60,
                rescue.finish_s / 60,
            )
            for rescue in plan.schedule.rescues
        ),
    )


def _supports(plan: Plan, words: Words) -> Table:
    return Table(
        name=words.say("tables.sheet_supports"),
        columns=(
            "side",
            "support",
            "kind",
            "kind inferred",
            "least load_kn",
            "greatest load_kn",
            "greatest deflection_deg",
            "rope lifts off",
        ),
        rows=tuple(
            (
                item.side.value,
                item.support_id,
                item.kind,
                _yes(item.inferred, words),
                item.least_load_n / 1000,
                item.greatest_load_n / 1000,
                item.greatest_deflection_deg,
                _yes(item.lifted, words),
            )
            for item in plan.heights.supports
        ),
    )


def _findings(plan: Plan, words: Words) -> Table:
    return Table(
        name=words.say("tables.sheet_findings"),
        columns=("severity", "where", "finding", "remedy"),
        rows=tuple(
            (finding.severity.value, finding.where, *words.finding(finding))
            for finding in plan.findings
        ),
    )


def xlsx_bytes(plan: Plan, words: Words) -> bytes:
    """The plan's tables as one workbook with typed columns and frozen headings."""
    return workbook_bytes(plan_tables(plan, words), plan.date)


def workbook_bytes(tables: Sequence[Table], day: date) -> bytes:
    """A workbook whose bytes depend on nothing but `tables` and `day`."""
    book = Workbook()
    book.remove(book.active)  # type: ignore[arg-type]  # a new book has a sheet
    moment = datetime(day.year, day.month, day.day)  # XLSX knows no zone
    book.properties.created = moment
    book.properties.creator = "evac"
    for table in tables:
        sheet = book.create_sheet(table.name[:31])
        for row_number, row in enumerate((table.columns, *table.rows), start=1):
            for column_number, entry in enumerate(row, start=1):
                cell = sheet.cell(row=row_number, column=column_number)
                _fill(cell, entry, table.columns[column_number - 1])
        for cell in sheet[1]:
            cell.font = Font(bold=True)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.freeze_panes = "A2"
        if table.rows:
            sheet.auto_filter.ref = sheet.dimensions
        _set_widths(sheet, table)
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.fitToWidth = 1
        sheet.page_setup.fitToHeight = 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
    raw = io.BytesIO()
    book.save(raw)
    return _with_fixed_times(raw.getvalue(), moment)


def _fill(cell: Cell, entry: Entry, column: str) -> None:
    if isinstance(entry, str):
        # A text stays a text, even where it begins like a formula.
        cell.value = "".join(c for c in entry if c.isprintable() or c == "\n")
        cell.data_type = "s"
        cell.alignment = Alignment(wrap_text=len(entry) > 40, vertical="top")
        return
    if isinstance(entry, float):
        if not math.isfinite(entry):
            return
        entry = round(entry, 3)
    cell.value = entry
    for suffix, pattern in _FORMATS.items():
        if column.endswith(suffix):
            cell.number_format = pattern
    if isinstance(entry, float) and cell.number_format == "General":
        cell.number_format = "0.0"


def _set_widths(sheet: Any, table: Table) -> None:
    for number, column in enumerate(table.columns, start=1):
        longest = max(
            [len(word) for word in column.split()]
            + [
                len(str(row[number - 1]))
                for row in table.rows
                if isinstance(row[number - 1], str)
            ]
            + [8]
        )
        sheet.column_dimensions[get_column_letter(number)].width = min(longest + 3, 60)


def _with_fixed_times(content: bytes, moment: datetime) -> bytes:
    # openpyxl stamps the time of saving into the archive and into docProps/core.xml.
    result = io.BytesIO()
    stamp = moment.replace(tzinfo=UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    with (
        zipfile.ZipFile(io.BytesIO(content)) as source,
        zipfile.ZipFile(result, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for entry in source.infolist():
            body = source.read(entry)
            if entry.filename == "docProps/core.xml":
                text = body.decode("utf-8")
                start = text.index("<dcterms:modified")
                begin = text.index(">", start) + 1
                end = text.index("<", begin)
                body = (text[:begin] + stamp + text[end:]).encode("utf-8")
            info = zipfile.ZipInfo(entry.filename, date_time=_ZIP_TIME)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            target.writestr(info, body)
    return result.getvalue()


def plan_json(plan: Plan) -> bytes:
    """What a later plan is compared with; keys sorted, numbers rounded."""
    spans = plan.heights.line.spans
    content = {
        "schema": 1,
        "lift": plan.lift.name,
        "revision": plan.lift.revision,
        "date": plan.date.isoformat(),
        "fingerprint": plan.fingerprint,
        "inputs": dict(plan.lift.fingerprint),
        "units": [
            {
                "side": unit.side.value,
                "span": unit.span_id,
                "known": unit.known,
                "rope_greatest_m": _number(unit.rope_greatest_m),
                "seat_greatest_m": _number(unit.seat_greatest_m),
                "margin_m": _number(unit.margin_m),
            }
            for unit in plan.heights.units
        ],
        "zones": [
            {
                "team": zone.team,
                "first": spans[zone.first_span].id,
                "last": spans[zone.last_span].id,
                "sides": [side.value for side in zone.sides],
                "start_support": plan.lift.supports[zone.start_support].id,
                "technique": zone.option.technique,
                "kit": zone.option.kit,
                "finish_s": int(zone.finish_s),
            }
            for zone in plan.assignment.zones
        ],
        "uncovered": [
            {"side": item.side.value, "span": spans[item.span_index].id}
            for item in plan.assignment.uncovered
        ],
        "clear_s": _number(plan.schedule.clear_s),
        "p50_s": _number(plan.simulation.p50_s),
        "p90_s": _number(plan.simulation.p90_s),
        "safe_p90_s": _number(plan.simulation.safe_p90_s),
        "latest": [
            {"reason": item.reason, "after_stop_s": _number(item.after_stop_s)}
            for item in plan.clock.latest
        ],
        "everyone_reached": plan.everyone_reached,
        "limit_met": plan.limit_met,
    }
    return _json(content)


def _number(value: float) -> float | None:
    return round(float(value), 3) if math.isfinite(value) else None


def _json(content: object) -> bytes:
    text = json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False)
    return (text + "\n").encode("utf-8")


def gpx_bytes(plan: Plan, words: Words) -> bytes:
    """GPX 1.1 waypoints (supports, muster points, team starts) and routes of teams."""
    frame = _frame(plan)
    gpx = gpxpy.gpx.GPX()
    gpx.creator = "evac"
    gpx.name = plan.lift.name
    gpx.description = words.say("cautions.short")

    def place(name: str, x_m: float, y_m: float, note: str) -> None:
        latitude, longitude = frame.to_degrees(x_m=[x_m], y_m=[y_m])
        gpx.waypoints.append(
            gpxpy.gpx.GPXWaypoint(
                latitude=round(float(latitude[0]), 7),
                longitude=round(float(longitude[0]), 7),
                name=name,
                description=note,
            )
        )

    for support in plan.lift.supports:
        note = words.say(
            "map.support",
            support=support.id,
            rope_height_m=support.rope_height_m,
            kind=support.kind.value if support.kind else words.say("map.kind_unknown"),
        )
        place(support.id, support.x_m, support.y_m, note)
    for point in plan.lift.muster_points:
        note = words.say("map.muster", name=point.name, places=point.shelter_places)
        place(point.name, point.x_m, point.y_m, note)
    for team in plan.lift.teams:
        note = words.say("map.start", team=team.id, place=team.start_place)
        place(team.start_place, team.start_x_m, team.start_y_m, note)
    for route, text in _team_routes(plan, words):
        track = gpxpy.gpx.GPXRoute(name=text)
        latitude, longitude = frame.to_degrees(x_m=route.x_m, y_m=route.y_m)
        track.points = [
            gpxpy.gpx.GPXRoutePoint(round(float(lat), 7), round(float(lon), 7))
            for lat, lon in zip(latitude, longitude, strict=True)
        ]
        gpx.routes.append(track)
    return str(gpx.to_xml(version="1.1")).encode("utf-8")


def geojson_bytes(plan: Plan, words: Words) -> bytes:
    """RFC 7946 GeoJSON: supports, span-sides with heights, zones' routes, musters."""
    frame = _frame(plan)
    features: list[dict[str, object]] = []

    def add(geometry: Any, **properties: object) -> None:
        features.append(
            {
                "type": "Feature",
                "geometry": mapping(transform(_to_degrees(frame), geometry)),
                "properties": properties,
            }
        )

    supports = plan.lift.supports
    for support in supports:
        features.append(
            {
                "type": "Feature",
                "geometry": _point(frame, support.x_m, support.y_m),
                "properties": {
                    "what": "support",
                    "support": support.id,
                    "rope_height_m": support.rope_height_m,
                },
            }
        )
    teams = {
        (side, span): zone.team
        for zone in plan.assignment.zones
        for side in zone.sides
        for span in range(zone.first_span, zone.last_span + 1)
    }
    for unit in plan.heights.units:
        ground = plan.heights.line.ground[unit.side]
        span = plan.heights.line.spans[unit.span_index]
        inside = (ground.distance_m >= span.start_m) & (ground.distance_m <= span.end_m)
        chain = LineString(
            np.column_stack([ground.x_m[inside], ground.y_m[inside]])
        ).simplify(0.5)
        add(
            chain,
            what="span",
            span=unit.span_id,
            side=unit.side.value,
            known=unit.known,
            seat_greatest_m=_number(unit.seat_greatest_m),
            rope_greatest_m=_number(unit.rope_greatest_m),
            margin_m=_number(unit.margin_m),
            team=teams.get((unit.side, unit.span_index)),
        )
    for route, text in _team_routes(plan, words):
        add(
            LineString(list(zip(route.x_m, route.y_m, strict=True))),
            what="route",
            team=route.team,
            name=text,
            seconds=round(route.seconds),
        )
    for point in plan.lift.muster_points:
        features.append(
            {
                "type": "Feature",
                "geometry": _point(frame, point.x_m, point.y_m),
                "properties": {"what": "muster point", "name": point.name},
            }
        )
    return _json(
        {
            "type": "FeatureCollection",
            "caution": words.say("cautions.short"),
            "features": features,
        }
    )


def _team_routes(plan: Plan, words: Words) -> Iterable[tuple[Any, str]]:
    starts = {zone.team: zone.start_support for zone in plan.assignment.zones}
    for route in plan.routes:
        if starts.get(route.team) == route.support_index and len(route.x_m) > 1:
            yield (
                route,
                words.say(
                    "map.route",
                    team=route.team,
                    length_m=route.length_m,
                    seconds_s=route.seconds,
                ),
            )


def _frame(plan: Plan) -> Frame:
    return Frame(
        latitude_deg=plan.lift.latitude_deg, longitude_deg=plan.lift.longitude_deg
    )


def _to_degrees(frame: Frame) -> Any:
    def convert(x_m: Any, y_m: Any) -> tuple[Any, Any]:
        latitude, longitude = frame.to_degrees(x_m=x_m, y_m=y_m)
        return np.round(longitude, 7), np.round(latitude, 7)

    return convert


def _point(frame: Frame, x_m: float, y_m: float) -> dict[str, object]:
    latitude, longitude = frame.to_degrees(x_m=[x_m], y_m=[y_m])
    return {
        "type": "Point",
        "coordinates": [round(float(longitude[0]), 7), round(float(latitude[0]), 7)],
    }
