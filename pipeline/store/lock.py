"""One writer at a time: a lock that the operating system lets go of when its holder dies, however it dies."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from pipeline.errors import StoreError

if sys.platform == "win32":
    import msvcrt

    def _try_lock(file: IO[str]) -> None:
        file.seek(4096)  # a byte beyond the text, so that others may still read who holds the lock
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _try_lock(file: IO[str]) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)


def _holder(file: IO[str]) -> str:
    file.seek(0)
    return file.read(20).strip() or "unknown"


@contextmanager
def write_lock(path: Path) -> Iterator[None]:
    """Hold the lock file `path` while the block runs; StoreError names the process that holds it already.

    The file itself stays: removing it would let two writers lock two different files of one name.
    """
    try:
        file = path.open("a+", encoding="ascii")
    except OSError as fault:
        raise StoreError("the folder of the store cannot be written to", expected="a folder that may be written",
                         now="choose another --out folder") from fault
    with file:
        try:
            _try_lock(file)
        except OSError as fault:
            raise StoreError(
                f"process {_holder(file)} is writing to this store", expected="one writer at a time",
                now="wait until it has finished and run this again; reading is possible meanwhile") from fault
        file.seek(0)
        file.truncate()
        file.write(str(os.getpid()))
        file.flush()
        yield
