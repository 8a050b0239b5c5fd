"""Two runs give the same bytes, also where Python's own order of sets differs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

TESTS = Path(__file__).parents[1]

SCRIPT = """
import hashlib, made_plan
from evac.documents.bundle import document_files
from evac.maps import map_html
from evac.tables_out import geojson_bytes, gpx_bytes, plan_json, xlsx_bytes
from evac.words import Words

plan = made_plan.walked_past(made_plan.make_plan(), span=7)
files = document_files(plan, Words())
for writer in (map_html, xlsx_bytes, gpx_bytes, geojson_bytes):
    files[writer.__name__] = writer(plan, Words())
files["plan.json"] = plan_json(plan)
for name in sorted(files):
    print(name, hashlib.sha256(files[name]).hexdigest())
"""


def test_papers_map_and_tables_do_not_depend_on_the_order_of_sets() -> None:
    # Two processes whose hashes of text differ, as any two runs of a user's do.
    runs = [
        subprocess.run(
            [sys.executable, "-c", SCRIPT],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(TESTS)},
            check=True,
            capture_output=True,
            text=True,
        ).stdout.splitlines()
        for seed in ("1", "2")
    ]
    assert len(runs[0]) > 9
    differ = [one for one, other in zip(*runs, strict=True) if one != other]
    assert differ == []
