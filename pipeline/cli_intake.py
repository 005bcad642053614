"""Commands that help a clinic bring its own files: a drafted intake map, a workbook to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli_words import JSON, QUIET, Place, run, shared

FILE = click.argument("file", metavar="FILE", type=Place(kind="file"))
MAP_OUT = click.option("--out", "map_out", type=Place(), help="File to write; default: the file's name with .map.toml.")
NEW_DIR = click.argument("folder", metavar="DIR", type=Place())


@click.command(name="suggest-map")
@shared(FILE, MAP_OUT, QUIET, JSON)
def suggest_map(file: Path, map_out: Path | None, quiet: bool, as_json: bool) -> None:
    """Draft an intake map for FILE, with a reason beside each line and the questions that are open.

    Nothing is loaded. A map is refused as long as a question in it is open.

    \b
    Example:
      rmt-outcomes suggest-map exports/pressures.xlsx --out mill.map.toml
    """
    from pipeline import stages_intake
    run("suggest-map", quiet, as_json, lambda progress: stages_intake.suggest_map(file, map_out))


@click.command()
@shared(NEW_DIR, QUIET, JSON)
def template(folder: Path, quiet: bool, as_json: bool) -> None:
    """Write a workbook to fill in, with drop-downs, and a diary week to print, into DIR.

    \b
    Example:
      rmt-outcomes template my_clinic
    """
    from pipeline import stages_intake
    run("template", quiet, as_json, lambda progress: stages_intake.template(folder))


def add_to(main: click.Group) -> None:
    """Add these commands to the program."""
    for command in (suggest_map, template):
        main.add_command(command)
