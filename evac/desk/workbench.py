"""The bench a notebook works at: one lift folder, its plan, and who wants to know."""

from __future__ import annotations

import datetime as dt
import html
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import ipywidgets as widgets

from evac.desk.folders import find_folders, labelled
from evac.errors import EvacError
from evac.facts.lift import Lift
from evac.facts.plan import Plan
from evac.inputs.folder import open_lift
from evac.plan import make_plan
from evac.words import Words

Listener = Callable[[Plan | None], None]


class Workbench:
    """A lift folder, planned; views follow when another folder is picked.

    Parameters
    ----------
    folders : tuple of Path
        What the drop-down offers; the first is opened.
    words : Words
        Language and number format of every view.

    Attributes
    ----------
    lift : Lift or None
        As its folder was read, before any drill corrected its step times.
    plan : Plan or None
        None where the folder is refused, and while it is worked on.

    Notes
    -----
    A view never shows one lift under the name of another: every listener is told None,
    and clears what it shows, before a folder is opened and when one is refused.
    """

    def __init__(self, folders: tuple[Path, ...], *, words: Words) -> None:
        self.words = words
        self.lift: Lift | None = None
        self.plan: Plan | None = None
        self._listeners: list[Listener] = []
        wide = {"description_width": "initial"}
        self.picker = widgets.Dropdown(
            options=labelled(folders), description=words.say("desk.folder"), style=wide
        )
        self.again = widgets.Button(description=words.say("desk.read_again"))
        self.status = widgets.HTML()
        self.panel = widgets.VBox(
            [
                widgets.HBox([self.picker, self.again]),
                self.status,
                widgets.HTML(cautions_html(words)),
            ]
        )
        self.picker.observe(lambda _change: self._open(), names="value")
        self.again.on_click(lambda _button: self._open())
        self._open()

    def _ipython_display_(self) -> None:
        from IPython.display import display

        display(self.panel)  # type: ignore[no-untyped-call]  # IPython has no types

    @property
    def folder(self) -> Path | None:
        """The folder that is picked, planned or not."""
        picked: Path | None = self.picker.value
        return picked

    def follow(self, listener: Listener) -> None:
        """Call `listener` with the plan, or None, now and on every change."""
        self._listeners.append(listener)
        self._tell(listener)

    def _open(self) -> None:
        self.lift = self.plan = None
        self._tell(*self._listeners)
        if self.folder is None:
            self.status.value = sentence_html(self.words.say("desk.no_folder"))
            return
        today = dt.date.today()
        self.status.value = sentence_html(self.words.say("desk.working"))
        try:
            self.lift = open_lift(self.folder, today=today)
            self.plan = make_plan(self.lift, date=today)
        except EvacError as error:
            self.status.value = sentence_html(str(error))
            return
        self.status.value = sentence_html(
            self.words.say(
                "desk.planned",
                lift=self.lift.name,
                folder=str(self.folder),
                fingerprint=self.plan.fingerprint,
            )
        )
        self._tell(*self._listeners)

    def _tell(self, *listeners: Listener) -> None:
        for listener in listeners:
            try:
                listener(self.plan)
            except EvacError as error:
                listener(None)
                self.status.value = sentence_html(str(error))


def open_workbench(folder: str | Path | None = None) -> Workbench:
    """Open `folder`, or the one ``EVAC_FOLDER`` names, or let a drop-down choose."""
    folders = find_folders()
    if folder is not None:
        folders = (Path(folder).resolve(), *folders)
    return Workbench(tuple(dict.fromkeys(folders)), words=Words())


@contextmanager
def quietly(show: Callable[[object], None], *inputs: widgets.Widget) -> Iterator[None]:
    """Set several inputs; `show`, which follows each, is not called meanwhile."""
    for widget in inputs:
        widget.unobserve(show, names="value")
    try:
        yield
    finally:
        # Else a slider would move after a mistake while an old answer stays.
        for widget in inputs:
            widget.observe(show, names="value")


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
