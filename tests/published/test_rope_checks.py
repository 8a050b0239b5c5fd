"""Every case of the shared file of rope checks is tested in this folder."""

from __future__ import annotations

import json
from pathlib import Path

TESTED_IN = {
    "iso_cable": "test_cable_with_a_point_load.py",
    "bj_7_500ft": "test_beer_johnston.py",
    "bj_7_128": "test_beer_johnston.py",
    "bj_7_127": "test_beer_johnston.py",
    "aster_ssnl114": "test_code_aster.py",
    "aster_pulley_len": "test_code_aster.py",
    "aster_pulley_ten": "test_code_aster.py",
    "moorpy_vec5": "test_mooring_vectors.py",
    "moorpy_vec4": "test_mooring_vectors.py",
    "polygon": "test_cable_with_a_point_load.py",
    "parabola_point": "test_cable_with_a_point_load.py",
    "wadhwa": "test_overhead_line.py",
    "ruling_span": "test_overhead_line.py",
}


def digits_of(value: object) -> list[str]:
    if isinstance(value, dict):
        return [text for inner in value.values() for text in digits_of(inner)]
    if isinstance(value, list):
        return [text for inner in value for text in digits_of(inner)]
    return [repr(abs(value))] if isinstance(value, int | float) else []


def test_no_case_of_the_shared_rope_checks_is_left_out(shared: Path) -> None:
    checks = json.loads((shared / "checks" / "rope_checks.json").read_text("utf-8"))
    assert {check["id"] for check in checks["checks"]} == set(TESTED_IN)
    for check in checks["checks"]:
        file = Path(__file__).parent / TESTED_IN[check["id"]]
        text = file.read_text("utf-8").replace("_", "").replace(",", "")
        for number in digits_of(check["expected"]):
            # The expected number stands in the test as printed, 1e3 or 1000 alike.
            whole = number.removesuffix(".0")
            assert whole in text, f"{check['id']}: {number}"
