"""Whole commands on spoilt folders: an exit code, papers or one message, no more.

`EVAC_FUZZ_COMMANDS=50` in the environment tries as many as said.
"""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
from pathlib import Path

import openpyxl
import pypdfium2
import pytest

sys.path.append(str(Path(__file__).parents[1] / "inputs"))

from folder_judge import base_files
from folder_mutator import mutate

FIRST_SEED = 50_001
COUNT = int(os.environ.get("EVAC_FUZZ_COMMANDS", "3"))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(FIRST_SEED, FIRST_SEED + COUNT))
def test_a_command_on_a_spoilt_folder_ends_well(tmp_path: Path, seed: int) -> None:
    files, told = mutate(base_files(), rng=random.Random(seed))  # noqa: S311 - repeatable
    folder, out = tmp_path / "Lift von Täli", tmp_path / "papers"
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)

    done = subprocess.run(
        [
            *(sys.executable, "-m", "evac", "plan", str(folder)),
            *("--out", str(out), "--date", "2027-01-20"),
        ],
        capture_output=True,
        timeout=120,
        env={**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0"},
        check=False,
    )

    said = done.stderr.decode("utf-8", "replace")
    assert done.returncode in (0, 1, 2), (told, said)
    assert "Traceback" not in said, (told, said)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == files
    if done.returncode == 2:
        assert said.strip(), told
        assert [path.name for path in tmp_path.iterdir()] == [folder.name]
    else:
        assert (out / "manifest.json").is_file()
        assert unknown_numbers(out) == []


NO_NUMBER = re.compile(r"(?<![\w-])(nan|NaN|NAN|inf|Infinity|None|null)(?![\w-])")
"""How Python and JSON write what is no number; on no paper, as a word by itself."""


def unknown_numbers(out: Path) -> list[str]:
    """Papers on which a word stands that is no number, with the words around it."""
    found = []
    for path in sorted(out.rglob("*")):
        if path.suffix == ".pdf":
            text = pdf_text(path)
        elif path.suffix == ".xlsx":
            book = openpyxl.load_workbook(path, read_only=True)
            rows = [row for sheet in book for row in sheet.iter_rows(values_only=True)]
            text = "\n".join(
                " ".join(str(c) for c in row if c is not None) for row in rows
            )
            book.close()
        elif path.suffix in (".svg", ".gpx"):
            text = path.read_text("utf-8")
        elif path.suffix in (".json", ".geojson"):
            text = path.read_text("utf-8").replace("null", "")
        else:
            continue
        found += [
            f"{path.name}: {text[max(0, hit.start() - 40) : hit.end() + 20]!r}"
            for hit in NO_NUMBER.finditer(text)
        ]
    return found


def pdf_text(path: Path) -> str:
    """All that stands on the pages of a PDF."""
    document = pypdfium2.PdfDocument(path.read_bytes())
    texts = []
    for page in document:
        text_page = page.get_textpage()
        texts.append(text_page.get_text_range())
        text_page.close()
        page.close()
    document.close()
    return "\n".join(texts)
