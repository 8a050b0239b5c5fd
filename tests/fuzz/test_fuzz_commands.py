"""Whole commands on spoilt folders: an exit code, papers or one message, no more.

`EVAC_FUZZ_COMMANDS=50` in the environment tries as many as said.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

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
        plan = (out / "plan.json").read_text("utf-8")
        assert "NaN" not in plan
        assert "Infinity" not in plan
