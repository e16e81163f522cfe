"""Files and folders appear whole or not at all, and what a killed process left is taken away."""

from __future__ import annotations

import os
import stat
import time
from pathlib import Path

import pytest

from startkit.facts import safe_files


def test_a_file_takes_the_place_of_the_old_one(tmp_path):
    path = tmp_path / "a.txt"
    safe_files.write(path, b"one")
    safe_files.write(path, b"two")
    assert path.read_bytes() == b"two" and [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_a_file_that_cannot_be_filled_leaves_the_old_one(tmp_path, monkeypatch):
    path = safe_files.write(tmp_path / "a.txt", b"one")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        safe_files.write(path, b"two")
    assert path.read_bytes() == b"one" and [p.name for p in tmp_path.iterdir()] == ["a.txt"]


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such rights")
def test_rights_stand_from_the_first_moment(tmp_path, monkeypatch):
    seen = []
    monkeypatch.setattr(
        os, "fsync", lambda handle: seen.append(stat.S_IMODE(os.fstat(handle).st_mode))
    )
    assert stat.S_IMODE(safe_files.write(tmp_path / "key", b"x", 0o600).stat().st_mode) == 0o600
    assert seen[0] == 0o600


def test_a_copy_is_the_same_to_the_byte(tmp_path):
    (tmp_path / "a").write_bytes(os.urandom(3_000_000))
    assert (
        safe_files.copy(tmp_path / "a", tmp_path / "b" / "c").read_bytes()
        == (tmp_path / "a").read_bytes()
    )


def test_a_folder_is_there_only_when_it_is_filled(tmp_path):
    with safe_files.folder(tmp_path / "J") as made:
        (made / "a").write_text("x")
        assert not (tmp_path / "J").exists()
    assert (tmp_path / "J" / "a").read_text() == "x" and [p.name for p in tmp_path.iterdir()] == [
        "J"
    ]


def test_a_folder_that_fails_leaves_nothing(tmp_path):
    with pytest.raises(KeyError), safe_files.folder(tmp_path / "J") as made:
        (made / "a").write_text("x")
        raise KeyError
    assert list(tmp_path.iterdir()) == []


def test_an_empty_folder_may_be_filled_and_a_full_one_is_left(tmp_path):
    (tmp_path / "J").mkdir()
    with safe_files.folder(tmp_path / "J") as made:
        (made / "a").write_text("x")
    with pytest.raises(OSError), safe_files.folder(tmp_path / "J") as made:
        (made / "b").write_text("y")
    assert [p.name for p in (tmp_path / "J").iterdir()] == ["a"] and [
        p.name for p in tmp_path.iterdir()
    ] == ["J"]


def test_what_was_left_long_ago_is_taken_away_and_what_is_being_made_is_not(tmp_path):
    old, new, other = (
        tmp_path / ".a.txt.1.part",
        tmp_path / ".a.txt.2.part",
        tmp_path / ".b.txt.1.part",
    )
    for path in (old, new, other):
        path.write_text("half")
    for path in (old, other):
        os.utime(path, (time.time() - 2 * safe_files.ABANDONED,) * 2)
    safe_files.write(tmp_path / "a.txt", b"x")
    assert not old.exists() and new.exists() and other.exists()


# --- power cuts -----------------------------------------------------------------------------------


@pytest.fixture
def flushed(monkeypatch, tmp_path):
    """What was done to the disk, in order: a file or folder flushed, a name moved."""
    done = []

    def name(path):
        return os.path.relpath(path, tmp_path)

    def fsync(handle, real=os.fsync):
        done.append(("flush", name(Path(f"/proc/self/fd/{handle}").readlink())))
        real(handle)

    def rename(self, target, real=Path.rename):
        done.append(("move", name(target)))
        return real(self, target)

    def replace(self, target, real=Path.replace):
        done.append(("move", name(target)))
        return real(self, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "rename", rename)
    monkeypatch.setattr(Path, "replace", replace)
    return done


shows_handles = pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="no /proc")


@shows_handles
def test_a_file_is_flushed_before_it_is_moved_and_its_folder_after(tmp_path, flushed):
    safe_files.write(tmp_path / "a.txt", b"x")
    assert flushed == [
        ("flush", f".a.txt.{os.getpid()}.part"),
        ("move", "a.txt"),
        ("flush", "."),
    ]


@shows_handles
def test_a_new_folder_is_flushed_into_the_one_that_holds_it(tmp_path, flushed):
    safe_files.write(tmp_path / "records" / "b" / "a.txt", b"x")
    assert flushed[:2] == [("flush", "."), ("flush", "records")]
    assert flushed[-1] == ("flush", "records/b")


@shows_handles
def test_everything_in_a_folder_is_flushed_before_it_is_moved(tmp_path, flushed):
    (tmp_path / "given").write_bytes(b"x")
    with safe_files.folder(tmp_path / "J") as made:
        (made / "empty").mkdir()
        safe_files.copy(tmp_path / "given", made / "trends" / "t.csv")
    beside = f".J.{os.getpid()}.part"
    moved = flushed.index(("move", "J"))
    for path in ("", "/empty", "/trends", f"/trends/.t.csv.{os.getpid()}.part"):
        assert ("flush", beside + path) in flushed[:moved]
    assert flushed[moved + 1 :] == [("flush", ".")]
