"""Notebooks in a real JupyterLab, without a network: run all, move sliders, look.

`EVAC_SCREENSHOTS` names a folder for a picture of every notebook.
"""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from places import ROOT
from playwright.sync_api import Browser, Page, Route

NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
_START_S = 90
_TRIES = 3
_PATIENCE_MS = 180_000
_PICTURE = ".jp-OutputArea-output img.widget-image"


@pytest.fixture(scope="module")
def lab(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a JupyterLab that answers."""
    folder = tmp_path_factory.mktemp("lab")
    for path in NOTEBOOKS:
        shutil.copy(path, folder)
    log = folder / "server.log"
    for _ in range(_TRIES):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        server = _start(folder, port, demo, log)
        address = f"http://127.0.0.1:{port}"
        if _answers(server, port):
            break
        # Somebody else may have taken the port in between.
        server.kill()
        server.wait()
    else:
        pytest.fail(f"JupyterLab does not start: {log.read_text()[-2000:]}")
    yield address
    server.terminate()
    try:
        server.wait(timeout=30)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()


def _start(folder: Path, port: int, demo: Path, log: Path) -> subprocess.Popen[bytes]:
    with log.open("ab") as told:
        return subprocess.Popen(
            [
                *(sys.executable, "-m", "jupyterlab", "--allow-root", "--no-browser"),
                # No token: only this test, only on this machine.
                *("--ip=127.0.0.1", f"--port={port}", "--IdentityProvider.token="),
                *("--ServerApp.port_retries=0", f"--ServerApp.root_dir={folder}"),
                "--LabApp.news_url=",
                "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
            ],
            env={**os.environ, "EVAC_FOLDER": str(demo)},
            stdout=told,
            stderr=subprocess.STDOUT,
        )


def _answers(server: subprocess.Popen[bytes], port: int) -> bool:
    deadline = time.monotonic() + _START_S
    while time.monotonic() < deadline and server.poll() is None:
        try:
            there = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            with closing(there):
                there.request("GET", "/api")
                return there.getresponse().status == 200
        except OSError:
            time.sleep(0.3)
    return False


@dataclass
class Watched:
    """A page, with everything that it should not have done."""

    page: Page
    strange: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)

    def must_be_clean(self) -> None:
        """No request to the outside, no error of ours."""
        assert self.strange == []
        assert self.errors == []
        assert self.page.locator("[data-mime-type*=error]").count() == 0


@pytest.fixture
def watched(lab: str, chromium: Browser) -> Iterator[Watched]:
    context = chromium.new_context(viewport={"width": 1400, "height": 1400})
    found = Watched(page=context.new_page())

    def only_this_machine(route: Route) -> None:
        if route.request.url.startswith((lab, "data:", "blob:")):
            route.continue_()
        else:
            found.strange.append(route.request.url)
            route.abort()

    page = found.page
    context.route("**/*", only_this_machine)
    page.on("pageerror", lambda error: found.errors.append(str(error)))
    page.on(
        "console",
        lambda said: found.errors.append(said.text) if said.type == "error" else None,
    )
    page.set_default_timeout(_PATIENCE_MS)
    yield found
    context.close()


def run_all(page: Page, lab: str, name: str) -> None:
    """Open a notebook and run it, as somebody does who does not program."""
    page.goto(f"{lab}/lab/tree/{name}.ipynb?reset")
    page.wait_for_selector(".jp-NotebookPanel-notebook")
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
    # Every code cell has its number only when it is done.
    page.wait_for_function(
        """() => {
            const cells = [...document.querySelectorAll('.jp-CodeCell')];
            return cells.length > 0 && cells.every(cell =>
                /\\[\\d+\\]/.test(cell.querySelector('.jp-InputPrompt').textContent));
        }"""
    )
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()


def take_picture(page: Page, name: str) -> None:
    if folder := os.environ.get("EVAC_SCREENSHOTS"):
        page.screenshot(path=str(Path(folder) / f"{name}.png"))


def press(page: Page, description: str, *, times: int) -> None:
    """Move the slider of this description to the right."""
    page.locator(".widget-inline-hbox", has_text=description).locator(
        ".noUi-handle"
    ).first.focus()
    for _ in range(times):
        page.keyboard.press("ArrowRight")


def pictures(page: Page) -> list[str]:
    return [str(image.get_attribute("src")) for image in page.locator(_PICTURE).all()]


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [
        path.stem
        for path in NOTEBOOKS
        if not path.stem.startswith(("01", "05"))  # below, with their sliders
    ],
)
def test_a_notebook_runs_without_a_network(
    name: str, lab: str, watched: Watched
) -> None:
    run_all(watched.page, lab, name)
    take_picture(watched.page, name)
    watched.must_be_clean()


@pytest.mark.browser
@pytest.mark.slow
def test_the_drawing_follows_the_slider(lab: str, watched: Watched) -> None:
    page = watched.page
    run_all(page, lab, "01_draft_the_plan")
    page.get_by_text("Everyone is reached.").first.wait_for()
    page.locator(_PICTURE).first.wait_for()
    before = pictures(page)[0]
    press(page, "Stop position", times=8)
    page.wait_for_function(
        "before => document.querySelector('img.widget-image').src !== before",
        arg=before,
    )
    assert page.locator("iframe[title='Map of the evacuation']").count() == 1
    take_picture(page, "01_draft_the_plan")
    watched.must_be_clean()


@pytest.mark.browser
@pytest.mark.slow
def test_heights_and_map_follow_two_sliders(lab: str, watched: Watched) -> None:
    page = watched.page
    run_all(page, lab, "05_what_if")
    page.get_by_text("Answered in").first.wait_for()
    before = pictures(page)[:2]
    assert len(before) == 2

    press(page, "Stop position", times=5)
    page.get_by_text("At this stop the order of work was followed").wait_for()
    page.wait_for_function(
        """before => {
            const now = [...document.querySelectorAll('img.widget-image')]
                .slice(0, 2).map(image => image.src);
            return now.every((src, number) => src && src !== before[number]);
        }""",
        arg=before,
    )
    planned = page.locator("td", has_text="Clearing time, P90")
    row = planned.locator("xpath=..").inner_text().split("\t")
    assert row[1] == row[2]
    press(page, "Wind [m/s]", times=12)
    page.wait_for_function(
        """() => {
            const cell = [...document.querySelectorAll('td')].find(
                each => each.textContent === 'Clearing time, P90');
            return cell && cell.nextSibling.textContent
                !== cell.nextSibling.nextSibling.textContent;
        }"""
    )
    take_picture(page, "05_what_if")
    watched.must_be_clean()
