"""The command line as a person uses it: exit codes, output, nothing half-written."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from places import ROOT

DAY = ("--date", "2026-11-25")
PIP = (sys.executable, "-m", "pip")
CAUTION = "A licensed or otherwise qualified person must review and sign this plan"
FILES = (
    "manifest.json",
    "map.html",
    "places.geojson",
    "places.gpx",
    "plan.json",
    "plan.pdf",
    "plan.xlsx",
    "section.pdf",
    "section.svg",
    "sheets_all.pdf",
)


def evac(*words: str | Path, **changes: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "evac", *map(str, words)],
        capture_output=True,
        text=True,
        env={**os.environ, **changes},
        timeout=300,
        encoding="utf-8",
        errors="replace",
    )


def wait_until_it_listens(run: subprocess.Popen[Any]) -> None:
    """Until a command has set its own handler of SIGTERM, however busy the machine."""
    status = Path(f"/proc/{run.pid}/status")
    if not status.is_file():
        time.sleep(2.5)
        return
    until = time.monotonic() + 60
    while time.monotonic() < until:
        caught = next(
            line for line in status.read_text().splitlines() if "SigCgt" in line
        )
        if int(caught.split()[1], 16) >> (signal.SIGTERM - 1) & 1:
            return
        time.sleep(0.05)


@pytest.fixture(scope="session")
def planned(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    out = tmp_path_factory.mktemp("planned") / "out"
    done = evac("plan", demo, "--out", out, *DAY)
    assert done.returncode == 0, done.stdout + done.stderr
    return out, done.stdout


def test_the_demo_ends_with_0_and_every_file(planned: tuple[Path, str]) -> None:
    out, _ = planned
    assert set(FILES) <= {path.name for path in out.iterdir()}
    sheets = sorted(path.name for path in (out / "sheets").iterdir())
    assert len(sheets) == 8
    assert all(name.endswith(".pdf") for name in sheets)


def test_the_summary_says_what_counts_and_ends_with_the_cautions(
    planned: tuple[Path, str],
) -> None:
    _, text = planned
    for part in ("Everyone is reached", "highest seat", "Zones", "P90", "LATEST ORDER"):
        assert part in text, part
    assert CAUTION in text.rstrip().splitlines()[-1]


def test_two_runs_with_one_date_give_the_same_bytes(
    planned: tuple[Path, str], demo: Path, tmp_path: Path
) -> None:
    out, _ = planned
    again = tmp_path / "out"
    assert evac("plan", demo, "--out", again, *DAY).returncode == 0
    # The manifest holds the hash of every file.
    assert (again / "manifest.json").read_text() == (out / "manifest.json").read_text()


def test_every_unit_is_in_one_zone_or_named(planned: tuple[Path, str]) -> None:
    out, _ = planned
    plan = json.loads((out / "plan.json").read_text("utf-8"))
    spans = list(dict.fromkeys(unit["span"] for unit in plan["units"]))
    taken = [
        (side, span)
        for zone in plan["zones"]
        for side in zone["sides"]
        for span in spans[spans.index(zone["first"]) : spans.index(zone["last"]) + 1]
    ]
    named = [(item["side"], item["span"]) for item in plan["uncovered"]]
    every = [(unit["side"], unit["span"]) for unit in plan["units"]]
    assert sorted(taken + named) == sorted(every)


def test_a_lift_with_a_span_nobody_reaches_ends_with_1(tmp_path: Path) -> None:
    done = evac("plan", ROOT / "tests" / "small_lift", "--out", tmp_path / "out", *DAY)
    assert done.returncode == 1, done.stderr
    assert "NOT EVERYONE IS REACHED" in done.stdout
    assert "STOP" in done.stdout


def test_a_missing_folder_is_one_sentence_and_leaves_nothing(tmp_path: Path) -> None:
    done = evac("plan", tmp_path / "nowhere", "--out", tmp_path / "out")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "nowhere" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_check_alone_writes_nothing(demo: Path) -> None:
    before = sorted(demo.rglob("*"))
    done = evac("check", demo)
    assert done.returncode == 0
    assert "can be planned" in done.stdout
    assert sorted(demo.rglob("*")) == before


def test_check_says_which_layers_are_missing_and_which_file_is_not_read(
    demo: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "lift"
    shutil.copytree(demo, folder)
    (folder / "hazards.geojson").rename(folder / "hazard.geojson")
    toml = folder / "lift.toml"
    text = re.sub(r"^hazards = .*$", "", toml.read_text("utf-8"), flags=re.MULTILINE)
    toml.write_text(text, "utf-8")

    done = evac("check", folder)
    said = " ".join(done.stdout.split())

    assert done.returncode == 0
    assert "- There is no hazards.geojson: say what lies under the line" in said
    assert "hazard.geojson (is it meant as hazards.geojson?)" in said
    assert "There is no muster.geojson" not in said


def test_check_tells_what_the_ground_contradicts(demo: Path, tmp_path: Path) -> None:
    folder = tmp_path / "lift"
    shutil.copytree(demo, folder)
    table = folder / "supports.csv"
    rows = table.read_text("utf-8").splitlines()
    cells = rows[5].split(",")
    cells[2] = f"{float(cells[2]) + 30:.1f}"
    table.write_text("\n".join([*rows[:5], ",".join(cells), *rows[6:]]) + "\n", "utf-8")
    done = evac("check", folder)
    assert done.returncode == 0
    assert f"support {cells[0]}" in done.stdout.lower()
    assert "30" in done.stdout


def test_a_new_folder_names_its_blanks_and_is_not_overwritten(tmp_path: Path) -> None:
    first = evac("new", tmp_path / "lift")
    assert first.returncode == 0
    assert "still open" in first.stdout
    assert (tmp_path / "lift" / "lift.toml").is_file()
    second = evac("new", tmp_path / "lift")
    assert second.returncode == 2
    assert "already exists" in second.stderr
    assert evac("check", tmp_path / "lift").returncode == 2


def test_a_folder_with_blanks_and_accents_works_in_the_c_locale(
    demo: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "Täli lift ß"
    shutil.copytree(demo, folder)
    done = evac("check", folder, LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0")
    assert done.returncode == 0, done.stderr


def test_a_stopped_run_leaves_the_old_plan_as_it_was(
    planned: tuple[Path, str], demo: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    shutil.copytree(planned[0], out)
    before = (out / "manifest.json").read_text()
    run = subprocess.Popen(
        [sys.executable, "-m", "evac", "plan", str(demo), "--out", str(out), *DAY],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    wait_until_it_listens(run)
    run.send_signal(signal.SIGTERM)
    _, told = run.communicate(timeout=60)
    assert run.returncode == 130
    assert b"Nothing half-written is left" in told
    assert (out / "manifest.json").read_text() == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_import_osm_lists_one_plain_line_a_lift(shared: Path) -> None:
    done = evac("import-osm", shared / "real" / "osm_andorra_2013.osm.gz")
    lines = done.stdout.strip().splitlines()
    assert done.returncode == 0
    # INDEX.md of the shared data: 44 chair lifts, 6 gondolas, 1 cable car.
    assert len(lines) == 51
    assert any(line.startswith("42014211  chair_lift") for line in lines)


@pytest.mark.slow
@pytest.mark.parametrize("way", [42014211, 52038627, 52163710])
def test_a_real_lift_is_planned_with_its_assumptions_named(
    way: int, shared: Path, tmp_path: Path
) -> None:
    real = shared / "real"
    made = evac(
        "import-osm",
        real / "osm_andorra_2013.osm.gz",
        "--terrain",
        real / "N42E001.hgt.zip",
        "--lift",
        str(way),
        "--out",
        tmp_path / "lift",
    )
    assert made.returncode == 0, made.stderr
    done = evac("plan", tmp_path / "lift", "--out", tmp_path / "out", *DAY)
    assert done.returncode in (0, 1), done.stderr
    assert "assumptions" in done.stdout
    assert set(FILES) <= {path.name for path in (tmp_path / "out").iterdir()}
    assert "no reach in this plan can be trusted" in " ".join(done.stdout.split())


def test_a_lift_with_three_supports_over_two_kilometres_is_refused(
    shared: Path, tmp_path: Path
) -> None:
    real = shared / "real"
    done = evac(
        "import-osm",
        real / "osm_andorra_2013.osm.gz",
        "--terrain",
        real / "N42E001.hgt.zip",
        "--lift",
        "52114952",
        "--out",
        tmp_path / "lift",
    )
    assert done.returncode == 2
    assert "too few supports" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_a_wheel_installed_elsewhere_plans_its_own_demo(tmp_path: Path) -> None:
    subprocess.run(
        [*PIP, "wheel", "--no-deps", "-q", "-w", tmp_path, ROOT],
        check=True,
        timeout=300,
    )
    wheel = next(tmp_path.glob("evac-*.whl"))
    site = tmp_path / "site"
    subprocess.run(
        [*PIP, "install", "--no-deps", "-q", "--target", site, wheel],
        check=True,
        timeout=300,
    )
    # Before the checkout on the path: what runs is the wheel.
    elsewhere = {"PYTHONPATH": str(site), "PYTHONSAFEPATH": "1"}
    made = evac("demo", tmp_path / "demo", **elsewhere)
    assert made.returncode == 0, made.stderr
    folder = next((tmp_path / "demo").rglob("lift.toml")).parent
    done = evac("plan", folder, "--out", tmp_path / "out", *DAY, **elsewhere)
    assert done.returncode == 0, done.stdout + done.stderr
    told = subprocess.run(
        [sys.executable, "-c", "import evac; print(evac.__file__)"],
        capture_output=True,
        text=True,
        env={**os.environ, **elsewhere},
        check=True,
    )
    assert str(site) in told.stdout
