"""`bundle`: the shared edition packed into one file, for those outside the clinic; nothing else is ever in it."""

from __future__ import annotations

import hashlib
import json
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import RmtError
from pipeline.stages_report import MANIFEST

if TYPE_CHECKING:
    from pipeline.stages import Summary

SHARED = "shared"
PACKED = f"{SHARED}.zip"
DAY_ZERO = (1980, 1, 1, 0, 0, 0)
"""The time of every file in the bundle: the same edition gives the same bytes."""


def bundle(out: Path, to: Path | None, summary: Summary) -> Summary:
    """Pack OUT/shared into `to` (OUT/shared.zip). RmtError unless the last report finished it."""
    files = _finished(out)
    place = to or out / PACKED
    half = place.with_name(place.name + ".part")
    with zipfile.ZipFile(half, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as packed:
        for name, content in sorted(files.items()):
            packed.writestr(zipfile.ZipInfo(name, DAY_ZERO), content, zipfile.ZIP_DEFLATED, 9)
    half.replace(place)
    summary.counts["files"] = len(files)
    summary.lines.append(f"Packed {len(files)} files of the shared edition: no client key, small cells hidden.")
    return summary


def _finished(out: Path) -> dict[str, bytes]:
    """The files of the shared edition by name, each as the manifest of the last report has it."""
    now = "run rmt-outcomes report, then bundle again"
    if not (out / MANIFEST).is_file():
        raise RmtError("there is no manifest: the last report did not finish, or its disclosure audit failed",
                       where=MANIFEST, expected="a finished report", now=now)  # fmt: skip
    listed = {o["path"]: o["sha256"] for o in json.loads((out / MANIFEST).read_text(encoding="utf-8"))["outputs"]}
    wanted = {name.partition("/")[2]: sha for name, sha in listed.items() if name.startswith(f"{SHARED}/")}
    found = {p.name: p.read_bytes() for p in sorted((out / SHARED).glob("*")) if p.is_file()}
    if not wanted or {n: hashlib.sha256(b).hexdigest() for n, b in found.items()} != wanted:
        raise RmtError("the shared edition is not the one that the last report wrote", where=SHARED,
                       expected="the files of the manifest, unchanged", now=now)  # fmt: skip
    return found
