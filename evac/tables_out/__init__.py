"""The plan as tables, and as files for receivers and map programs.

XLSX for people, plan.json for the comparison with a later plan, GPX and GeoJSON for
devices. Every writer returns bytes; the same plan gives the same bytes.
"""

from __future__ import annotations

from evac.tables_out.devices import geojson_bytes, gpx_bytes
from evac.tables_out.drill_csv import drills_csv
from evac.tables_out.record import plan_json
from evac.tables_out.tables import Table, plan_tables
from evac.tables_out.workbook import workbook_bytes, xlsx_bytes

__all__ = [
    "Table",
    "drills_csv",
    "geojson_bytes",
    "gpx_bytes",
    "plan_json",
    "plan_tables",
    "workbook_bytes",
    "xlsx_bytes",
]
