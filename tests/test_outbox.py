"""The output folder is replaced whole, or left as it was."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from filelock import FileLock

from evac.errors import OutputError
from evac.outbox import publish


def test_a_new_folder_holds_the_files_and_their_manifest(tmp_path: Path) -> None:
    publish(tmp_path / "out", {"a.txt": b"1", "sheets/b.txt": b"2"})

    assert (tmp_path / "out/sheets/b.txt").read_bytes() == b"2"
    manifest = json.loads((tmp_path / "out/manifest.json").read_text())
    assert sorted(manifest["files"]) == ["a.txt", "sheets/b.txt"]
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_folder_we_wrote_is_replaced_whole(tmp_path: Path) -> None:
    publish(tmp_path / "out", {"a.txt": b"1"})
    publish(tmp_path / "out", {"b.txt": b"2"})
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [
        "b.txt",
        "manifest.json",
    ]


def test_a_strangers_folder_is_refused_and_kept(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out/thesis.txt").write_text("years of work")
    with pytest.raises(OutputError, match="was not written by evac"):
        publish(tmp_path / "out", {"a.txt": b"1"})
    assert (tmp_path / "out/thesis.txt").read_text() == "years of work"


def test_a_file_the_user_changed_is_not_overwritten(tmp_path: Path) -> None:
    publish(tmp_path / "out", {"a.txt": b"1"})
    (tmp_path / "out/a.txt").write_text("my notes")
    with pytest.raises(OutputError, match=r"added or changed.*a\.txt"):
        publish(tmp_path / "out", {"a.txt": b"2"})
    assert (tmp_path / "out/a.txt").read_text() == "my notes"


def test_a_second_run_at_the_same_time_is_told_to_wait(tmp_path: Path) -> None:
    with (
        FileLock(tmp_path / ".out.lock"),
        pytest.raises(OutputError, match="another run"),
    ):
        publish(tmp_path / "out", {"a.txt": b"1"})


def test_a_swap_cut_in_half_is_repaired_by_the_next_run(tmp_path: Path) -> None:
    publish(tmp_path / "out", {"a.txt": b"1"})
    (tmp_path / "out").rename(tmp_path / ".out.old-1")
    (tmp_path / ".out.new-1").mkdir()
    (tmp_path / "elsewhere").write_text("x")
    with pytest.raises(OutputError, match="leave its folder"):
        publish(tmp_path / "out", {"../elsewhere": b"1"})
    assert (tmp_path / "out/a.txt").read_bytes() == b"1"
    assert not (tmp_path / ".out.new-1").exists()
    assert (tmp_path / "elsewhere").read_text() == "x"


def test_a_file_in_the_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputError, match="is a file"):
        publish(tmp_path / "out", {"a.txt": b"1"})


def test_a_disk_error_becomes_a_sentence_and_changes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish(tmp_path / "out", {"a.txt": b"1"})

    def full(_path: Path, _content: bytes) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OutputError, match="No space left on device"):
        publish(tmp_path / "out", {"a.txt": b"2"})
    monkeypatch.undo()
    assert (tmp_path / "out/a.txt").read_bytes() == b"1"
    assert [path.name for path in tmp_path.iterdir() if "new" in path.name] == []


def test_a_link_stays_one_and_the_folder_it_leads_to_is_replaced(
    tmp_path: Path,
) -> None:
    stick = tmp_path / "stick"
    publish(stick, {"a.txt": b"old"})
    (tmp_path / "papers").symlink_to(stick)
    publish(tmp_path / "papers", {"a.txt": b"new"})
    assert (tmp_path / "papers").is_symlink()
    assert (stick / "a.txt").read_bytes() == b"new"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["papers", "stick"]


class StoppedError(BaseException):
    pass


def test_a_run_stopped_within_the_swap_gives_the_old_folder_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    publish(tmp_path / "out", {"a.txt": b"old"})
    rename = Path.rename

    def stopped(path: Path, target: Path) -> Path:
        if ".new-" in path.name:
            raise StoppedError
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", stopped)
    with pytest.raises(StoppedError):
        publish(tmp_path / "out", {"a.txt": b"new"})
    assert (tmp_path / "out" / "a.txt").read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("name", ["pl[2]", "*"])
def test_a_name_with_signs_of_a_pattern_is_only_a_name(
    name: str, tmp_path: Path
) -> None:
    left_over, another = tmp_path / f".{name}.new-1", tmp_path / ".other.new-1"
    left_over.mkdir()
    another.mkdir()
    publish(tmp_path / name, {"a.txt": b"1"})
    assert not left_over.exists()
    assert another.exists()
