"""What becomes of a spoilt folder: opened with every number sound, or one message."""

from __future__ import annotations

import math
import random
import signal
import tempfile
import traceback
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields, is_dataclass
from datetime import date
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np
from affine import Affine
from folder_mutator import Files, mutate
from rasterio.io import MemoryFile
from small_folder import FILES

from evac.errors import EvacError, InputError
from evac.facts.lift import Lift
from evac.inputs.folder import open_lift
from evac.reference import table_text
from evac.words import Words

DAY = date(2027, 1, 20)
LONGEST_S = 20
"""Of processor time: on a busy machine a run waits without hanging."""
LONGEST_WAIT_S = 300
"""Of time by the clock: for what hangs without using the processor."""
MOST_MESSAGE_LINES = 5_000

DRILLS = """date,team,technique,step,per,condition,seconds,amount,stopped,real,worked_s
2026-11-05,Upper patrol,ladder,take a passenger down,passenger,,240,2,no,no,600
"""

Further = Callable[[Lift], None]
"""What is done with a lift that opened; it may raise `EvacError` or `Broken`."""


class Broken(Exception):  # noqa: N818 - it is a verdict, not an error of the program
    """Something came out that must never come out."""


class Hang(Exception):  # noqa: N818 - likewise
    """It took too long."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one mutation: ``opened``, ``refused``, or a fault and its text."""

    seed: int
    told: str
    verdict: str
    text: str = ""


def terrain_bytes() -> bytes:
    """A plane as GeoTIFF that fits the supports of the small folder."""
    values = np.tile(np.linspace(1686.25, 1388.75, 120)[:, None], (1, 120))
    with MemoryFile() as memory:
        with memory.open(
            driver="GTiff",
            height=120,
            width=120,
            count=1,
            dtype="float32",
            crs="EPSG:4326",
            nodata=-9999,
            transform=Affine(0.0001, 0, 9.895, 0, -0.0001, 46.8075),
        ) as file:
            file.write(values.astype("float32"), 1)
        return bytes(memory.read())


def base_files() -> Files:
    """The small folder with every optional file, which plans without a fault."""
    files = {name: text.encode("utf-8") for name, text in FILES.items()}
    supports = FILES["supports.csv"]
    for low, high in ((",1508,8,", ",1508,12,"), (",8.5,", ",12.5,"), (",9,", ",13,")):
        supports = supports.replace(low, high)
    files["supports.csv"] = supports.encode("utf-8")
    kit = FILES["kit.csv"].replace(",50,12,no,", ",80,25,yes,")
    files["kit.csv"] = kit.encode("utf-8")
    files["times.csv"] = table_text("step_times.csv").encode("utf-8")
    files["terrain.tif"] = terrain_bytes()
    files["drills.csv"] = DRILLS.encode("utf-8")
    return files


def warm_up(files: Files, *, further: Further | None = None) -> None:
    """Open and plan the folder as it is once, so that all is compiled afterwards."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for name, content in files.items():
            (folder / name).write_bytes(content)
        lift = open_lift(folder, today=DAY)
        if further is not None:
            further(lift)


def judge(files: Files, *, seed: int, further: Further | None = None) -> Outcome:
    """Spoil the files by `seed` and see what becomes of them."""
    spoilt, told = mutate(files, rng=random.Random(seed))  # noqa: S311 - repeatable
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for name, content in spoilt.items():
            (folder / name).write_bytes(content)
        try:
            with _at_most(LONGEST_S), warnings.catch_warnings():
                warnings.simplefilter("error")
                lift = open_lift(folder, today=DAY)
                require_sound(lift)
                if further is not None:
                    further(lift)
            verdict, text = "opened", ""
        except InputError as error:
            verdict, text = _message_verdict(error)
        except EvacError as error:
            verdict, text = ("refused" if str(error).strip() else "broken"), str(error)
        except Broken as error:
            verdict, text = "broken", str(error)
        except Hang:
            verdict, text = "hang", traceback.format_exc()
        except Exception:
            # Whatever else comes out is the fault that is looked for.
            verdict, text = "traceback", traceback.format_exc()
    return Outcome(seed=seed, told=told, verdict=verdict, text=text)


def _message_verdict(error: InputError) -> tuple[str, str]:
    """A message has every part of every problem, and none of Python's own words."""
    for problem in error.problems:
        parts = (problem.where, problem.found, problem.expected, problem.remedy)
        if not all(part.strip() for part in parts):
            return "broken", f"a part of the message is empty: {error}"
        if not problem.remedy.rstrip().endswith((".", "?", ":", "…")):
            return "broken", f"the remedy is no sentence: {error}"
    lines = str(error).count("\n") + 1
    if lines > MOST_MESSAGE_LINES or not error.file:
        return "broken", f"{lines} lines"
    return "refused", str(error)


def require_sound(lift: Lift) -> None:
    """Every number of the facts is finite (voids of terrain aside), every doubt told.

    Raises
    ------
    Broken
        Naming the field.
    """
    for path, value in _numbers(lift, "lift"):
        if not math.isfinite(value):
            message = f"{path} is {value}"
            raise Broken(message)
    distances = [support.distance_m for support in lift.supports]
    if sorted(set(distances)) != distances:
        message = f"supports out of order: {distances}"
        raise Broken(message)
    for support in lift.supports:
        if support.rope_height_m <= 0:
            message = f"rope at the ground at {support.id}"
            raise Broken(message)
    for finding in lift.findings:
        text, remedy = Words().finding(finding)
        if not text or not remedy or "nan" in text.lower().split():
            message = f"{finding.key}: {text!r} {remedy!r}"
            raise Broken(message)


def _numbers(value: Any, path: str) -> Iterator[tuple[str, float]]:
    if path == "lift.terrain" and value is not None:
        yield from ((f"{path}.{n}", getattr(value, n)) for n in ("cell_m", "sd_m"))
    elif isinstance(value, float):
        yield path, value
    elif isinstance(value, np.ndarray):
        yield from ((path, float(each)) for each in value.ravel())
    elif isinstance(value, (tuple, list)):
        for index, each in enumerate(value):
            yield from _numbers(each, f"{path}[{index}]")
    elif is_dataclass(value):
        for item in fields(value):
            yield from _numbers(getattr(value, item.name), f"{path}.{item.name}")


@contextmanager
def _at_most(seconds: int) -> Iterator[None]:
    """Raise `Hang` when the block takes longer (where there are timers to set)."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def ring(_number: int, _frame: FrameType | None) -> None:
        raise Hang

    timers = (
        (signal.SIGPROF, signal.ITIMER_PROF, seconds),
        (signal.SIGALRM, signal.ITIMER_REAL, LONGEST_WAIT_S),
    )
    before = [signal.signal(number, ring) for number, _, _ in timers]
    for _, timer, longest_s in timers:
        signal.setitimer(timer, longest_s)
    try:
        yield
    finally:
        for (number, timer, _), handler in zip(timers, before, strict=True):
            signal.setitimer(timer, 0)
            signal.signal(number, handler)
