"""What the command line prints: progress on a terminal, summaries, failures, and the JSON object."""

from __future__ import annotations

import errno
import json
import os
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from pipeline.errors import FileRefused, RmtError

if TYPE_CHECKING:
    from pipeline.stages import Summary

SCHEMA_VERSION = 1

#: What the system says of a full disk, and of a file or folder that may not be written to.
_OF_THE_DISK = (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES, errno.EPERM)

Progress = Callable[[str, int, int], None]


def _nothing(step: str, done: int, total: int) -> None:
    """Show no progress."""


@contextmanager
def progress_of(quiet: bool) -> Iterator[Progress]:
    """Give a function (step, done, total) that shows progress on a terminal, and does nothing in a pipe."""
    if quiet or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield _nothing
        return
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TextColumn("{task.completed}/{task.total}"),
               TimeRemainingColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda step, done, total: bar.update(task, description=step, completed=done, total=total)


def as_object(summary: Summary) -> dict[str, Any]:
    """Return the JSON object of a finished command."""
    return {
        "ok": summary.exit_code == 0, "command": summary.command, "exit_code": summary.exit_code,
        "counts": summary.counts, "seconds": summary.seconds,
        "outputs": [{"path": o.path, "sha256": o.sha256, "bytes": o.size} for o in summary.outputs],
        "said": summary.lines, "warnings": summary.warnings, "errors": [], "schema_version": SCHEMA_VERSION,
    } | ({"answer": summary.answer} if summary.answer else {})


def finish(summary: Summary, *, quiet: bool, as_json: bool) -> int:
    """Print a finished command's summary and return its exit code. Faults of rows go to standard error."""
    if as_json:
        click.echo(json.dumps(as_object(summary), indent=2))
        return summary.exit_code
    for line in summary.faults:
        click.echo(line, err=True)
    if not quiet:
        for line in summary.lines:
            click.echo(line)
    return summary.exit_code


def _failure_object(command: str, code: int, errors: list[dict[str, str]]) -> dict[str, Any]:
    return {"ok": False, "command": command, "exit_code": code, "counts": {}, "outputs": [], "warnings": [],
            "errors": errors, "schema_version": SCHEMA_VERSION}


def _trace_file(fault: BaseException) -> str:
    """Write a trace that holds places but no values, and return the file's path."""
    frames = traceback.extract_tb(fault.__traceback__)
    with tempfile.NamedTemporaryFile("w", prefix="rmt-outcomes-fault-", suffix=".txt", delete=False) as file:
        file.write(f"{type(fault).__name__}\n")
        file.writelines(f"{f.filename}:{f.lineno} in {f.name}\n" for f in frames)
    return file.name


def failure(command: str, fault: BaseException, as_json: bool) -> int:
    """Print why a command failed and return its exit code. No trace of values reaches the user."""
    if isinstance(fault, SystemExit):
        return int(fault.code or 0)
    if isinstance(fault, BrokenPipeError):
        return 0
    if isinstance(fault, KeyboardInterrupt):
        code, errors = 130, [{"what": "interrupted; the last good state stands"}]
    elif isinstance(fault, FileRefused):
        code, errors = fault.exit_code, [_parts(f) for f in fault.faults]
    elif isinstance(fault, RmtError):
        code, errors = fault.exit_code, [_parts(fault)]
    elif isinstance(fault, OSError) and fault.errno in _OF_THE_DISK:
        full = RmtError("a file could not be written; the last good state stands",
                        expected="room on the disk and leave to write",
                        now="free some room, or choose another folder, and run this again")
        code, errors = full.exit_code, [_parts(full)]
    else:
        what = f"an unexpected fault ({type(fault).__name__}); the last good state stands."
        now = f"What now: send the file {_trace_file(fault)} to the developers; it holds no values."
        code, errors = 1, [{"what": f"{what} {now}"}]
    if as_json:
        click.echo(json.dumps(_failure_object(command, code, errors), indent=2))
    else:
        for error in errors:
            click.echo(error.get("text") or error["what"], err=True)
    return code


def _parts(fault: RmtError) -> dict[str, str]:
    return {"where": fault.where, "what": fault.what, "expected": fault.expected, "now": fault.now, "text": fault.text}
