"""Commands on the store's history: the rows set aside, out for correction."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli_words import JSON, OUT, QUIET, Place, run, shared

NEW_DIR = click.argument("folder", metavar="DIR", type=Place())


@click.command(name="set-aside")
@shared(NEW_DIR, OUT, QUIET, JSON)
def set_aside(folder: Path, out: Path, quiet: bool, as_json: bool) -> None:
    """Write the rows now set aside into DIR, one CSV a table: faulty cells empty, the reason in the last column.

    Correct them and load DIR like any other folder: each corrected row answers the row that it came from.

    \b
    Example:
      rmt-outcomes set-aside corrections --out out
      rmt-outcomes load corrections --out out
    """
    from pipeline import stages_history
    run("set-aside", quiet, as_json, lambda progress: stages_history.set_aside(folder, out))


def add_to(group: click.Group) -> None:
    """Add these commands to the group."""
    group.add_command(set_aside)
