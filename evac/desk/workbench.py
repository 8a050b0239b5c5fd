"""The bench a notebook works at: one lift folder, its plan, and who wants to know."""

from __future__ import annotations

import datetime as dt
import html
from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets

from evac.desk.folders import find_folders
from evac.errors import EvacError
from evac.facts.plan import Plan
from evac.inputs.folder import open_lift
from evac.plan import make_plan
from evac.words import Words

Listener = Callable[[Plan], None]


class Workbench:
    """A lift folder, planned; views follow when another folder is picked.

    Parameters
    ----------
    folders : tuple of Path
        What the drop-down offers; the first is opened.
    words : Words
        Language and number format of every view.
    """

    def __init__(self, folders: tuple[Path, ...], *, words: Words) -> None:
        self.words = words
        self.plan: Plan | None = None
        self._listeners: list[Listener] = []
        self.picker = widgets.Dropdown(
            options=[(path.name, path) for path in folders],
            description=words.say("desk.folder"),
            style={"description_width": "initial"},
        )
        self.status = widgets.HTML()
        self.panel = widgets.VBox(
            [self.picker, self.status, widgets.HTML(cautions_html(words))]
        )
        self.picker.observe(lambda _change: self._open(), names="value")
        if folders:
            self._open()
        else:
            self.status.value = sentence_html(words.say("desk.no_folder"))

    def _ipython_display_(self) -> None:
        from IPython.display import display

        display(self.panel)  # type: ignore[no-untyped-call]  # IPython has no types

    def follow(self, listener: Listener) -> None:
        """Call `listener` with the plan now, if there is one, and on every change."""
        self._listeners.append(listener)
        if self.plan is not None:
            listener(self.plan)

    def _open(self) -> None:
        today = dt.date.today()
        self.status.value = sentence_html(self.words.say("desk.working"))
        try:
            lift = open_lift(self.picker.value, today=today)
            self.plan = make_plan(lift, date=today)
        except EvacError as error:
            self.plan = None
            self.status.value = sentence_html(str(error))
            return
        self.status.value = ""
        for listener in self._listeners:
            listener(self.plan)


def open_workbench(folder: str | Path | None = None) -> Workbench:
    """Open `folder`, or the one ``EVAC_FOLDER`` names, or let a drop-down choose."""
    folders = find_folders()
    if folder is not None:
        folders = (Path(folder).resolve(), *folders)
    return Workbench(tuple(dict.fromkeys(folders)), words=Words())


def sentence_html(text: str) -> str:
    """A sentence for a widget; line breaks kept, nothing read as markup."""
    lines = html.escape(text).replace("\n", "<br>")
    return f'<p style="font-size:14px;line-height:1.4">{lines}</p>'


def cautions_html(words: Words) -> str:
    """The cautions, as every notebook carries them."""
    items = "".join(
        f"<li>{html.escape(words.say(f'cautions.c{number}'))}</li>"
        for number in range(1, 5)
    )
    title = html.escape(words.say("cautions.title"))
    return f"<div style='line-height:1.4'><b>{title}</b><ul>{items}</ul></div>"
