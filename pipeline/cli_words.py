"""What the commands share: their arguments and options, and how a stage is run and its end is told."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli_output import failure, finish, progress_of

if TYPE_CHECKING:
    from pipeline.engines import Choice
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
    """A calendar quarter such as 2026Q3, or a block of each client's own time such as block-003."""

    name = "quarter"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        from pipeline.identity.quarters import LABEL
        block = re.fullmatch(r"block[- ]?([0-9]{1,3})", str(value))
        label = f"block-{int(block[1]):03d}" if block else str(value)
        if not LABEL.fullmatch(label):
            self.fail("expected a calendar quarter such as 2026Q3, or a block such as block-003", param, ctx)
        return label


class EngineWord(click.ParamType["Choice | None"]):
    """Where the derived tables are made; the default is the store itself."""

    name = "engine"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Choice | None:
        from pipeline.engines import parse
        try:
            return parse(str(value))
        except ValueError as fault:
            self.fail(str(fault), param, ctx)


def shared(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def add(command: Any) -> Any:
        for option in reversed(options):
            command = option(command)
        return command
    return add


DIR = click.argument("folder", metavar="DIR", type=Place(kind="folder"))
OUT = click.option("--out", type=Place(), default=Path("out"), show_default="out", help="Folder of store and pages.")
SETTINGS = click.option("--settings", "settings_path", type=Place(kind="file"), help="Settings file (TOML).")
MAP = click.option("--map", "map_path", type=Place(kind="file"), help="Intake map (TOML) of files of another shape.")
QUARTER = click.option("--quarter", type=Quarter(),
                       help="Quarter to report, as 2026Q3 (or block-003); default: the last full one.")
LANGUAGE = click.option("--language", metavar="CODE", help="Language of the pages, such as de; default: the settings'.")
ENGINE = click.option("--engine", type=EngineWord(), metavar="WORD", show_default="duckdb",
                      help="Where tables are made: duckdb, slices, slices:N or sc://host:port.")
ONLY_SUMS = click.option("--only-sums", is_flag=True,
                         help="With --engine: bring back sums and what is computed from them, no table of rows.")
QUIET = click.option("--quiet", is_flag=True, help="No progress, no summary; errors only.")
JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output, also on failure.")


def run(command: str, quiet: bool, as_json: bool, work: Callable[[Any], Summary]) -> None:
    """Run one stage with progress on a terminal, then print its summary and leave with its exit code."""
    try:
        with progress_of(quiet or as_json) as progress:
            summary = work(progress)
    except BaseException as fault:
        sys.exit(failure(command, fault, as_json))
    sys.exit(finish(summary, quiet=quiet, as_json=as_json))
