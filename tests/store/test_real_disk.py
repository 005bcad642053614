"""A full disk and a folder without leave to write, for real: whole commands in processes of their own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from pipeline.store import open_store
from tests.store.disks import filled, read_only, small_disk
from tests.validate.folder import KEY, SOUND, write

pytestmark = pytest.mark.slow

SAMPLE = Path(__file__).parents[2] / "sample_data"


def run(*words: object) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "pipeline", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=SAMPLE.parent)


def told(done: subprocess.CompletedProcess[str], code: int) -> str:
    assert done.returncode == code, done.stdout + done.stderr
    said = done.stdout + done.stderr
    assert "Traceback" not in said and "unexpected" not in said, said
    return said


def folders(place: Path) -> tuple[Path, Path]:
    """Write two small folders: as first sent, and with a later session."""
    found = place / "first", place / "second"
    for folder in found:
        folder.mkdir()
    write(found[0])
    write(found[1], sessions=[*SOUND["sessions"], f"{KEY},2025-01-09,am,2,20,5,nrs_0_10"])
    return found


def files(out: Path) -> dict[str, bytes]:
    return {p.relative_to(out).as_posix(): p.read_bytes() for p in sorted(out.rglob("*"))
            if p.is_file() and not p.name.endswith(".lock")}


def sessions(out: Path) -> int:
    with open_store(out / "store.duckdb", read_only=True) as store:
        return store.table("received.sessions").height


def test_a_folder_without_leave_to_write_is_said_and_can_be_read(tmp_path: Path) -> None:
    first, second = folders(tmp_path)
    out = tmp_path / "out"
    told(run("load", first, "--out", out), 0)
    before = files(out)
    with read_only(out):
        for words in (("load", second), ("derive",), ("review", second)):
            assert "cannot be written to" in told(run(*words, "--out", out), 1), words
        assert sessions(out) == len(SOUND["sessions"]) - 1
        assert "Defined in" in told(run("explain", "tests.value.number", "--out", out), 0)
    assert files(out) == before
    told(run("load", second, "--out", out), 0)
    assert sessions(out) == len(SOUND["sessions"])


def test_a_full_disk_leaves_the_last_good_store(tmp_path: Path) -> None:
    first, second = folders(tmp_path)
    with small_disk(tmp_path / "disk", 48) as disk:
        out = disk / "out"
        told(run("load", first, "--out", out), 0)
        before = files(out)
        for free_kb in (0, 300, 1000):
            with filled(disk, free_bytes=free_kb << 10):
                said = told(run("load", second, "--out", out), 1)
                assert "stays as it was" in said and "free some room" in said
                assert files(out) == before  # and nothing half-made beside it
        told(run("load", second, "--out", out), 0)
        assert sessions(out) == len(SOUND["sessions"])


def test_a_disk_that_fills_up_leaves_the_last_good_pages(tmp_path: Path) -> None:
    first, _ = folders(tmp_path)
    with small_disk(tmp_path / "disk", 64) as disk:
        out = disk / "out"
        assert run("review", first, "--out", out).returncode in (0, 5)
        before = {name: data for name, data in files(out).items() if name.startswith(("internal/", "shared/"))}
        assert len(before) > 10
        with filled(disk, free_bytes=200 << 10):
            assert "free some room" in told(run("report", "--out", out), 1)
            now = files(out)
        assert {name: now[name] for name in before} == before
        told(run("report", "--out", out), 0)
        after = files(out)
        assert {name: after[name] for name in before} == before and not any(".next/" in name for name in after)
