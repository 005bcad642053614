"""Real disks for tests: a small one that can be filled, and a folder that may not be written to."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


def _mount(*words: str) -> None:
    """Mount something, or skip the test with the reason."""
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("Only root on Linux can mount a small disk for this test.")
    done = subprocess.run(["mount", *words], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"No disk can be mounted here: {done.stderr.strip()}")


@contextmanager
def small_disk(place: Path, megabytes: int) -> Iterator[Path]:
    """Mount a disk of so many megabytes, in memory, at a new folder while the block runs."""
    place.mkdir()
    _mount("-t", "tmpfs", "-o", f"size={megabytes}m", "none", str(place))
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


@contextmanager
def filled(disk: Path, *, free_bytes: int) -> Iterator[None]:
    """Fill a disk up to so many free bytes while the block runs."""
    room = os.statvfs(disk)
    with (disk / "filler").open("wb") as file:
        file.write(b"\0" * max(room.f_bavail * room.f_frsize - free_bytes, 0))
    try:
        yield
    finally:
        (disk / "filler").unlink()


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Let nobody write into a folder while the block runs: by its mode, or for root by mounting it so."""
    if sys.platform == "win32":
        pytest.skip("Windows has no folder mode of this kind.")
    if os.geteuid() != 0:
        folder.chmod(0o500)
        try:
            yield
        finally:
            folder.chmod(0o700)
        return
    _mount("--bind", str(folder), str(folder))
    try:
        _mount("-o", "remount,bind,ro", str(folder))
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)
