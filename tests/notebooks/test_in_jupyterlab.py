"""A notebook in a real JupyterLab: run all, move a slider, the drawing follows."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import ROOT
from playwright.sync_api import Browser, Route

_START_S = 90
_PATIENCE_MS = 120_000


@pytest.fixture(scope="module")
def lab(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("lab")
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        shutil.copy(path, folder)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen(
        [
            *(sys.executable, "-m", "jupyterlab", "--allow-root", "--no-browser"),
            # No token: only this test, only on this machine.
            *("--ip=127.0.0.1", f"--port={port}", "--IdentityProvider.token="),
            f"--ServerApp.root_dir={folder}",
        ],
        env={**os.environ, "EVAC_FOLDER": str(demo)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    deadline = time.monotonic() + _START_S
    while time.monotonic() < deadline:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                break
        time.sleep(0.5)
    yield f"http://127.0.0.1:{port}"
    server.terminate()
    server.wait(timeout=30)


@pytest.mark.browser
@pytest.mark.slow
def test_the_drawing_follows_the_slider_without_network(
    lab: str, chromium: Browser
) -> None:
    context = chromium.new_context(viewport={"width": 1400, "height": 1000})
    page = context.new_page()
    strange: list[str] = []
    errors: list[str] = []

    def only_this_machine(route: Route) -> None:
        if route.request.url.startswith((lab, "data:", "blob:")):
            route.continue_()
        else:
            strange.append(route.request.url)
            route.abort()

    page.route("**/*", only_this_machine)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.set_default_timeout(_PATIENCE_MS)

    page.goto(f"{lab}/lab/tree/01_draft_the_plan.ipynb?reset")
    page.wait_for_selector(".jp-NotebookPanel-notebook")
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
    picture = page.locator(".jp-OutputArea-output img.widget-image").first
    picture.wait_for()
    page.get_by_text("Everyone is reached.").first.wait_for()
    before = picture.get_attribute("src")

    page.locator(".noUi-handle").first.focus()
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "before => document.querySelector('img.widget-image').src !== before",
        arg=before,
    )

    assert page.locator(".jp-RenderedText[data-mime-type*=error]").count() == 0
    assert page.locator("iframe[title='Map of the evacuation']").count() == 1
    assert errors == []
    assert strange == []
    if folder := os.environ.get("EVAC_SCREENSHOTS"):
        page.screenshot(path=str(Path(folder) / "lab.png"))
    context.close()
