"""Words in, exit code out: the only place that prints. Heavy imports stay inside the commands."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline import __version__
from pipeline.cli_output import failure, finish, progress_of

if TYPE_CHECKING:
    from pipeline.stages import Summary

CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class Place(click.ParamType[Path]):
    """A path that is not echoed back: a path may hold a name."""

    name = "path"

    def __init__(self, *, kind: str = "any") -> None:
        self.kind = kind

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        path = Path(value)
        word = param.human_readable_name if param else "path"
        if self.kind == "folder" and not path.is_dir():
            self.fail(f"there is no folder at the path given for {word}; expected a folder of input tables", param, ctx)
        if self.kind == "file" and not path.is_file():
            self.fail(f"there is no file at the path given for {word}", param, ctx)
        return path


class Quarter(click.ParamType[str]):
    """A calendar quarter such as 2026Q3."""

    name = "quarter"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        if not re.fullmatch(r"[0-9]{4}Q[1-4]", str(value)):
            self.fail("expected a calendar quarter such as 2026Q3", param, ctx)
        return str(value)


def _shared(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def add(command: Any) -> Any:
        for option in reversed(options):
            command = option(command)
        return command
    return add


DIR = click.argument("folder", metavar="DIR", type=Place(kind="folder"))
OUT = click.option("--out", type=Place(), default=Path("out"), show_default="out", help="Folder of store and pages.")
SETTINGS = click.option("--settings", "settings_path", type=Place(kind="file"), help="Settings file (TOML).")
QUARTER = click.option("--quarter", type=Quarter(), help="Quarter to report, as 2026Q3; default: the last full one.")
QUIET = click.option("--quiet", is_flag=True, help="No progress, no summary; errors only.")
JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output, also on failure.")


def _run(command: str, quiet: bool, as_json: bool, work: Callable[[Any], Summary]) -> None:
    """Run one stage with progress on a terminal, then print its summary and leave with its exit code."""
    try:
        with progress_of(quiet or as_json) as progress:
            summary = work(progress)
    except BaseException as fault:
        sys.exit(failure(command, fault, as_json))
    sys.exit(finish(summary, quiet=quiet, as_json=as_json))


@click.group(context_settings=CONTEXT)
@click.version_option(__version__, prog_name="rmt-outcomes")
def main() -> None:
    """Respiratory muscle training outcomes: from session logs and pressure tests to cohort pages.

    \b
    Example:
      rmt-outcomes review sample_data --out out --quarter 2026Q3

    \b
    Exit codes:
      0 done                              4 looks like identifying data: refused
      1 unexpected fault                  5 too few data or no converged model; the pages say so
      2 wrong usage or settings           6 disclosure audit failed: nothing shared was written
      3 file refused                      7 check: rows were set aside         130 interrupted
    """


@main.command()
@_shared(DIR, SETTINGS, QUIET, JSON)
def check(folder: Path, settings_path: Path | None, quiet: bool, as_json: bool) -> None:
    """Check the input tables in DIR against the contract; load nothing.

    \b
    Example:
      rmt-outcomes check sample_data
    """
    from pipeline import stages
    _run("check", quiet, as_json, lambda progress: stages.check(folder, settings_path, progress))


@main.command()
@_shared(DIR, OUT, SETTINGS, QUIET, JSON)
def load(folder: Path, out: Path, settings_path: Path | None, quiet: bool, as_json: bool) -> None:
    """Load the input tables in DIR into the store, as one batch or not at all.

    \b
    Example:
      rmt-outcomes load sample_data --out out
    """
    from pipeline import stages
    _run("load", quiet, as_json, lambda progress: stages.load(folder, out, settings_path, progress))


@main.command()
@_shared(OUT, SETTINGS, QUIET, JSON)
def derive(out: Path, settings_path: Path | None, quiet: bool, as_json: bool) -> None:
    """Build the derived tables in the store from what was loaded.

    \b
    Example:
      rmt-outcomes derive --out out
    """
    from pipeline import stages
    _run("derive", quiet, as_json, lambda progress: stages.derive(out, settings_path, progress))


@main.command()
@_shared(OUT, SETTINGS, QUARTER, QUIET, JSON)
def analyse(out: Path, settings_path: Path | None, quarter: str | None, quiet: bool, as_json: bool) -> None:
    """Compute the results of a quarter from the derived tables.

    \b
    Example:
      rmt-outcomes analyse --out out --quarter 2026Q3
    """
    from pipeline import stages
    _run("analyse", quiet, as_json, lambda progress: stages.analyse(out, settings_path, quarter, progress))


@main.command()
@_shared(OUT, SETTINGS, QUIET, JSON)
def report(out: Path, settings_path: Path | None, quiet: bool, as_json: bool) -> None:
    """Write the pages, internal and shared, from the results.

    \b
    Example:
      rmt-outcomes report --out out
    """
    from pipeline import stages
    _run("report", quiet, as_json, lambda progress: stages.report(out, settings_path, progress))


@main.command()
@_shared(DIR, OUT, SETTINGS, QUARTER, QUIET, JSON)
def review(
    folder: Path, out: Path, settings_path: Path | None, quarter: str | None, quiet: bool, as_json: bool
) -> None:
    """Do it all: load DIR, derive, analyse, and write the pages.

    \b
    Example:
      rmt-outcomes review sample_data --out out --quarter 2026Q3
    """
    from pipeline import stages
    _run("review", quiet, as_json, lambda progress: stages.review(folder, out, settings_path, quarter, progress))
