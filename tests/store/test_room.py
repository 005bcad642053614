"""No room, no leave, no replacing: the last good state stays, and the message says what to do (real processes)."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import StoreError
from pipeline.store import edit_store

#: Writes much into the store under a limit on the size of any file, as on a full disk.
NO_ROOM = """
import resource, sys
from pathlib import Path
from pipeline.errors import StoreError
from pipeline.store import edit_store
limit = int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
try:
    with edit_store(Path(sys.argv[1])) as store:
        if sys.argv[3] == "scratch":
            store.scratch.execute("create table scratch.much as select hash(i) as a, md5(i::varchar) as b "
                                  "from range(3000000) as t(i)")
        store.execute("create table received.much as select hash(i) as a from range(3000000) as t(i)")
except StoreError as fault:
    print(fault.text)
"""


def made(path: Path) -> bytes:
    with edit_store(path) as store:
        store.insert("received.files", pl.DataFrame({"batch_id": [1], "file": ["tests.csv"]}))
    return path.read_bytes()


@pytest.mark.skipif(sys.platform == "win32", reason="limits of this kind are POSIX")
@pytest.mark.parametrize(("limit_mb", "where"), [(1, "store"), (6, "store"), (6, "scratch")])
def test_no_room_leaves_the_last_good_state(tmp_path: Path, limit_mb: int, where: str) -> None:
    path = tmp_path / "store.duckdb"
    before = made(path)
    done = subprocess.run([sys.executable, "-c", NO_ROOM, str(path), str(limit_mb << 20), where], capture_output=True,
                          text=True, check=False)
    assert "stays as it was" in done.stdout and "free some room" in done.stdout, done.stderr
    assert path.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["store.duckdb", "store.duckdb.lock"]


def test_a_store_that_cannot_be_replaced_stays_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where another program holds the file open and the system lets nobody replace it."""
    path = tmp_path / "store.duckdb"
    before = made(path)

    def held(*_: object) -> None:
        raise PermissionError(13, "held")

    monkeypatch.setattr(Path, "replace", held)
    with pytest.raises(StoreError, match="held open by another program and stays"), edit_store(path) as store:
        store.execute("create table received.more (a int)")
    assert path.read_bytes() == before and not (tmp_path / "store.duckdb.next").exists()
