"""The crosswalk's file: a journal in JSON Lines, readable by its owner alone, added to and never overwritten."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Sequence
from pathlib import Path

from pipeline.errors import RmtError
from pipeline.identity.surrogates import Entry, from_mapping, to_mapping

HEAD = {"crosswalk": "rmt-outcomes", "version": 1}


class CrosswalkError(RmtError):
    """The crosswalk cannot be used as it lies there."""

    exit_code = 2


def require_apart(path: Path, folders: Sequence[Path]) -> None:
    """Raise CrosswalkError if the crosswalk would lie in one of the folders that are handed on."""
    place = path.resolve()
    if any(place.is_relative_to(folder.resolve()) for folder in folders):
        raise CrosswalkError("the crosswalk would lie inside the folder that is handed on", where=path.name,
                             expected="a place that only this site can read", now="choose another path for --crosswalk")


def _require_private(path: Path) -> None:
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise CrosswalkError("others than its owner may read or write the crosswalk", where=path.name,
                             expected="mode 0600", now="chmod 600 the file, and think about who may have read it")


def read_crosswalk(path: Path) -> list[Entry]:
    """Return the entries of a crosswalk; CrosswalkError where it is not there, not private, or not one of ours.

    A last line without its end (the machine stopped while it was written) was never acted on and is left out.
    """
    if not path.is_file():
        raise CrosswalkError("there is no crosswalk here", where=path.name, now="run `rmt-outcomes surrogate` first")
    _require_private(path)
    try:
        lines = path.read_bytes().decode("utf-8").split("\n")[:-1]
        if json.loads(lines[0]) != HEAD:
            raise ValueError("no head")
        return [from_mapping(json.loads(line)) for line in lines[1:]]
    except (OSError, ValueError, TypeError, KeyError, IndexError, AttributeError) as fault:
        raise CrosswalkError("this file is not a crosswalk of this program, or it is damaged; it stays as it is",
                             where=path.name, expected="a file made by `rmt-outcomes surrogate`",
                             now="name another file, or restore it from the site's backup") from fault


def create_crosswalk(path: Path, columns: Sequence[str]) -> list[Entry]:
    """Make a new crosswalk, mode 0600; CrosswalkError if a file of this name is there already."""
    entries = [Entry("columns", columns=tuple(columns))]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as fault:
        raise CrosswalkError("the crosswalk cannot be made here", where=path.name,
                             expected="a folder that may be written, and no such file yet",
                             now="choose another path for --crosswalk") from fault
    with os.fdopen(handle, "wb") as file:
        os.chmod(path, 0o600)  # whatever the umask says
        _write(file.fileno(), json.dumps(HEAD) + "\n" + _lines(entries))
    return entries


def add_entries(path: Path, entries: Sequence[Entry]) -> None:
    """Add entries at the end of a crosswalk; they have reached the disk when this returns."""
    if not entries:
        return
    _require_private(path)
    handle = os.open(path, os.O_RDWR)
    try:
        whole = path.read_bytes().rfind(b"\n") + 1  # a line that was never finished goes
        os.ftruncate(handle, whole)
        os.lseek(handle, whole, os.SEEK_SET)
        _write(handle, _lines(entries))
    finally:
        os.close(handle)


def _lines(entries: Sequence[Entry]) -> str:
    return "".join(json.dumps(to_mapping(e), ensure_ascii=False) + "\n" for e in entries)


def _write(handle: int, text: str) -> None:
    data = text.encode("utf-8")
    while data:
        data = data[os.write(handle, data):]
    os.fsync(handle)
