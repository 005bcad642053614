"""Commands that hand a review on: rows and models for a statistician, figures for a paper, the shared pages packed."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli_words import JSON, OUT, QUIET, SETTINGS, Place, run, shared

TO = click.option("--to", type=Place(), help="Folder to write into; default: OUT/export.")


@click.command()
@shared(OUT, TO, SETTINGS, QUIET, JSON)
def export(out: Path, to: Path | None, settings_path: Path | None, quiet: bool, as_json: bool) -> None:
    """Write what others need: rows and models with an R script, figures as SVG, tables as CSV.

    The rows are person-level (numbered anew, without keys and days): internal. Figures and tables come from the
    shared edition.

    \b
    Example:
      rmt-outcomes export --out out
    """
    from pipeline import stages
    run("export", quiet, as_json, lambda progress: stages.export(out, to, settings_path, progress))


FILE = click.argument("file", metavar="[FILE.zip]", type=Place(), required=False)


@click.command()
@shared(FILE, OUT, QUIET, JSON)
def bundle(file: Path | None, out: Path, quiet: bool, as_json: bool) -> None:
    """Pack the shared edition into one file (OUT/shared.zip), and nothing else.

    \b
    Example:
      rmt-outcomes bundle --out out
    """
    from pipeline import stages
    run("bundle", quiet, as_json, lambda progress: stages.bundle(out, file))


def add_to(group: click.Group) -> None:
    """Add these commands to the group."""
    group.add_command(export)
    group.add_command(bundle)
