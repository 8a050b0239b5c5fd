"""Compiled code from a read-only installation, and after an upgrade."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import evac

LENGTH = (
    "import sys; sys.path.insert(0, sys.argv[1]);"
    "import evac; assert evac.__file__.startswith(sys.argv[1]);"
    "from evac.rope.segment import length_of;"
    "print(round(length_of(20.0, 2e5, -2e4, 201e3, 91.0, 1e-8), 6))"
)


@pytest.fixture
def installed(tmp_path: Path) -> Path:
    """A copy of the package that nothing has been compiled for."""
    home = tmp_path / "site"
    shutil.copytree(
        Path(evac.__file__).parent,
        home / "evac",
        ignore=shutil.ignore_patterns("__pycache__", "data_demo"),
    )
    return home


def run(installed: Path, *, user_cache: Path) -> str:
    kept = {k: v for k, v in os.environ.items() if not k.startswith("NUMBA")}
    done = subprocess.run(
        [sys.executable, "-c", LENGTH, str(installed)],
        env=kept
        | {
            "PYTHONDONTWRITEBYTECODE": "1",
            "HOME": str(user_cache),
            "XDG_CACHE_HOME": str(user_cache),
            "LOCALAPPDATA": str(user_cache),
        },
        capture_output=True,
        text=True,
        timeout=240,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def lock(installed: Path) -> None:
    # A file in the place of the cache folder stops every account, root too.
    folder = installed / "evac" / "rope" / "__pycache__"
    shutil.rmtree(folder, ignore_errors=True)
    folder.write_text("")


def test_a_read_only_installation_keeps_its_code_in_the_user_s_cache(
    installed, tmp_path
) -> None:
    lock(installed)
    cache = tmp_path / "cache"
    first = run(installed, user_cache=cache)
    assert list(cache.glob("evac-*/**/*.nbc"))
    assert run(installed, user_cache=cache) == first


def test_where_nothing_can_be_written_the_numbers_are_the_same(
    installed, tmp_path
) -> None:
    written = run(installed, user_cache=tmp_path / "unused")
    lock(installed)
    blocked = tmp_path / "blocked"
    blocked.write_text("")
    assert run(installed, user_cache=blocked) == written


def test_a_changed_formula_is_never_served_from_old_compiled_code(
    installed, tmp_path
) -> None:
    before = run(installed, user_cache=tmp_path)
    # `length_of` lies in a cache of its own; only what it calls is changed, and the
    # file's time and size are kept as an unpacked package may keep them.
    file = installed / "evac" / "rope" / "segment.py"
    stat = file.stat()
    text = file.read_text("utf-8")
    changed = text.replace("v1 = v + w * length", "v1 = v - w * length")
    assert changed != text
    file.write_text(changed, "utf-8")
    os.utime(file, (stat.st_atime, stat.st_mtime))
    assert run(installed, user_cache=tmp_path) != before
