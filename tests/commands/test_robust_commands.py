"""Whole commands when something goes wrong around them: signals, disks, folders."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from places import ROOT
from test_commands import DAY, evac, wait_until_it_listens

from evac.outbox import publish

SMALL = ROOT / "tests" / "small_lift"
"""Its plan ends with 1: a span that nobody reaches."""
PLAN = (sys.executable, "-m", "evac", "plan")


def listing(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def sound(out: Path) -> bool:
    """Whether a folder holds exactly the files of its manifest."""
    names = json.loads((out / "manifest.json").read_text("utf-8"))["files"]
    return set(listing(out)) == {*names, "manifest.json"}


@pytest.fixture
def earlier(tmp_path: Path) -> Path:
    """An output folder of an earlier run, beside which nothing else stands."""
    out = tmp_path / "papers of T\u00e4li"
    publish(out, {"plan.pdf": b"an earlier plan"})
    return out


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_stops_a_run_and_leaves_the_old_papers(
    earlier: Path, number: signal.Signals
) -> None:
    before = listing(earlier)
    run = subprocess.Popen(
        [*PLAN, str(SMALL), "--out", str(earlier), *DAY],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    wait_until_it_listens(run)
    run.send_signal(number)
    _, told = run.communicate(timeout=60)

    assert run.returncode == 130, told
    assert told.strip().endswith("as it was before, or whole.")
    assert "Traceback" not in told
    assert listing(earlier) == before
    assert [path.name for path in earlier.parent.iterdir()] == [earlier.name]


def run_shell(line: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["bash", "-c", f"set -o pipefail; {line}"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env={**os.environ, "EVAC": sys.executable},
    )


CHECK = f'"$EVAC" -m evac check "{SMALL}"'


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a /dev/full")
def test_what_cannot_be_printed_is_one_sentence_and_no_verdict() -> None:
    # Exit code 1 would say that somebody is not reached.
    done = run_shell(f"{CHECK} > /dev/full")
    assert done.returncode == 2, done.stderr
    assert "cannot be printed: No space left on device" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a /dev/full")
@pytest.mark.parametrize(
    ("command", "code"),
    [
        # A help text that finds no space is no fault of evac.
        ("--help > /dev/full", 2),
        ("plan --help | true", 0),
        # A refusal that finds no space must not end with 1, the unreached passenger.
        ("check tests/nothing 2> /dev/full", 2),
        ("no-such-command 2> /dev/full", 2),
        ('drill tests/small_lift --out "$OUT" 2> /dev/full', 0),
    ],
)
def test_a_full_disk_behind_a_message_leaves_the_exit_code_true(
    tmp_path: Path, command: str, code: int
) -> None:
    line = f'cd "{ROOT}"; OUT="{tmp_path / "out"}"; "$EVAC" -m evac {command}'
    done = run_shell(line)
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr
    assert "fault of evac" not in done.stderr


@pytest.mark.parametrize("ending", [">&-", "| true"])
def test_nobody_reading_on_is_no_fault(ending: str) -> None:
    done = run_shell(f"{CHECK} {ending}")
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""


def test_a_seed_beyond_what_is_drawn_from_is_refused(tmp_path: Path) -> None:
    done = evac("plan", str(SMALL), "--out", str(tmp_path / "out"), "--seed", "9" * 23)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr


def test_papers_are_set_from_a_working_folder_that_has_vanished(tmp_path: Path) -> None:
    code = (
        "import os, shutil, sys; here = sys.argv[1]; os.mkdir(here); os.chdir(here); "
        "shutil.rmtree(here); from evac.__main__ import main; "
        "sys.argv = ['evac', *sys.argv[2:]]; main()"
    )
    out = tmp_path / "out"
    done = subprocess.run(
        [
            *(sys.executable, "-c", code, str(tmp_path / "gone")),
            *("plan", str(SMALL), "--out", str(out), *DAY),
        ],
        capture_output=True,
        text=True,
        timeout=200,
        check=False,
    )
    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert sound(out)


SPACE = """
import resource, sys
from evac import outbox
from evac.__main__ import main

fill = outbox._fill

def with_little_space(stage, files):
    # From here on a write beyond 60 kB fails, as on a disk without space.
    resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))
    fill(stage, files)

outbox._fill = with_little_space
sys.argv = ["evac", *sys.argv[1:]]
main()
"""


def test_a_disk_without_space_is_one_sentence_and_leaves_the_old_papers(
    earlier: Path,
) -> None:
    before = listing(earlier)
    done = subprocess.run(
        [sys.executable, "-c", SPACE, "plan", str(SMALL), "--out", str(earlier), *DAY],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )

    assert done.returncode == 2, done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert "File too large; nothing was changed. Choose a folder" in " ".join(
        done.stderr.split()
    )
    assert listing(earlier) == before
    assert [path.name for path in earlier.parent.iterdir()] == [earlier.name]


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a /proc")
@pytest.mark.parametrize("command", ["new", "demo"])
def test_a_folder_that_may_not_be_written_is_one_sentence(command: str) -> None:
    # Not even the superuser may make folders there.
    done = evac(command, "/proc/evac/lift")

    assert done.returncode == 2
    assert done.stderr.startswith("evac: cannot write /proc/evac/lift: ")
    assert "Choose a new folder on a disk you may write to" in done.stderr


def test_two_runs_at_once_leave_one_whole_set_of_papers(tmp_path: Path) -> None:
    out = tmp_path / "out"
    runs = [
        subprocess.Popen(
            [*PLAN, str(SMALL), "--out", str(out), *DAY],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    told = [run.communicate(timeout=300)[1] for run in runs]

    # The later one replaces the papers, or is told that the other is writing them.
    codes = [run.returncode for run in runs]
    assert sorted(codes) in ([1, 1], [1, 2]), told
    for code, text in zip(codes, told, strict=True):
        assert (code == 2) == ("another run of evac is writing" in text)
    assert sound(out)
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_working_folder_that_vanished_is_one_sentence(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    script = (
        f"import os, sys; os.chdir({str(gone)!r}); os.rmdir({str(gone)!r}); "
        "sys.argv = ['evac', 'new', 'lift']; from evac.__main__ import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )

    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "cannot write lift: " in done.stderr


def test_a_lift_folder_that_vanishes_while_it_is_read_is_one_message(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from evac.errors import InputError
    from evac.inputs import folder as reader

    lift = tmp_path / "lift"
    shutil.copytree(SMALL, lift)
    read = reader.read_lift_toml

    def and_vanish(content: bytes, *, file: str) -> object:
        shutil.rmtree(lift)
        return read(content, file=file)

    monkeypatch.setattr(reader, "read_lift_toml", and_vanish)

    with pytest.raises(InputError, match="expected this file in the lift folder"):
        reader.open_lift(lift)


def test_an_extract_with_an_accent_is_listed_in_the_c_locale(
    shared: Path, tmp_path: Path
) -> None:
    extract = tmp_path / "Ses\u00falia ext 1.osm"
    shutil.copy(shared / "real" / "osm_us_discovery.osm", extract)
    locale = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    done = evac("import-osm", extract, **locale)

    assert done.returncode == 0, done.stderr
    # INDEX.md of the shared data: 7 chairs, 4 of them unnamed.
    assert len(done.stdout.splitlines()) == 7
    assert done.stdout.count("(no name)") == 4


def test_no_command_changes_its_inputs(tmp_path: Path) -> None:
    lift = tmp_path / "lift"
    shutil.copytree(SMALL, lift)
    before = {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in lift.iterdir()}
    assert evac("check", lift).returncode == 0
    assert evac("drill", lift, "--out", tmp_path / "drill").returncode == 0

    after = {p: (p.stat().st_mtime_ns, p.read_bytes()) for p in lift.iterdir()}
    assert after == before
