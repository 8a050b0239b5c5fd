"""What every test may use: the shared reference data, the demo, a browser."""

from __future__ import annotations

import datetime as dt
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from places import ROOT, shared_folder
from playwright.sync_api import Browser, sync_playwright

from evac.facts.lift import Lift
from evac.facts.plan import Plan
from evac.inputs.folder import open_lift
from evac.plan import make_plan

collect_ignore_glob = ["fuzz/[!t]*.py", "benchmarks/*.py"]
"""Commands of their own; not to be searched for doctests."""


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of published data; skips where there is none."""
    folder = shared_folder()
    if folder is None:
        pytest.skip("no shared reference data: set EVAC_SHARED or lay ../shared")
    return folder


@pytest.fixture(scope="session")
def demo() -> Path:
    """The lift folder of the demo."""
    return ROOT / "data_demo" / "larkfell_four"


_QUIET_CHROMIUM = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """A headless Chromium; skips where there is none, except in CI."""
    program = shutil.which("chromium") or shutil.which("google-chrome")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("CI must have a Chromium for the browser tests")
        pytest.skip("no Chromium on this machine")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=program, args=list(_QUIET_CHROMIUM)
        )
        yield browser
        browser.close()


DEMO_DAY = dt.date(2026, 11, 25)


@pytest.fixture(scope="session")
def demo_lift(demo: Path) -> Lift:
    """The demo as its folder is read on one fixed day."""
    return open_lift(demo, today=DEMO_DAY)


@pytest.fixture(scope="session")
def demo_plan(demo_lift: Lift) -> Plan:
    """The demo's plan for that day, made once a test process."""
    return make_plan(demo_lift, date=DEMO_DAY)


@pytest.fixture(scope="session")
def gondola(demo: Path) -> Path:
    """The lift folder of the second demo."""
    return demo.parent / "thornmere_eight"


@pytest.fixture(scope="session")
def gondola_lift(gondola: Path) -> Lift:
    """The second demo as its folder is read on one fixed day."""
    return open_lift(gondola, today=DEMO_DAY)


@pytest.fixture(scope="session")
def gondola_plan(gondola_lift: Lift) -> Plan:
    """The second demo's plan for that day, made once a test process."""
    return make_plan(gondola_lift, date=DEMO_DAY)
