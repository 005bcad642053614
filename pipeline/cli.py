"""Words in, exit code out: the only place that prints. Heavy imports stay inside the commands."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline import __version__, cli_explain, cli_export, cli_history, cli_identity, cli_intake, cli_plan
from pipeline.cli_words import (
    CONTEXT,
    DIR,
    ENGINE,
    JSON,
    LANGUAGE,
    MAP,
    ONLY_SUMS,
    OUT,
    QUARTER,
    QUIET,
    SETTINGS,
    Place,
    run,
    shared,
)

if TYPE_CHECKING:
    from pipeline.engines import Choice


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
    # one thread of linear algebra: its matrices are small, a second thread waits more than it works, and the last bits
    # of a sum would hang on how many cores a machine has. Read when NumPy is imported, which the commands do.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@main.command()
@shared(DIR, MAP, SETTINGS, QUIET, JSON)
def check(folder: Path, map_path: Path | None, settings_path: Path | None, quiet: bool, as_json: bool) -> None:
    """Check the input tables in DIR against the contract; load nothing.

    \b
    Example:
      rmt-outcomes check sample_data
    """
    from pipeline import stages
    run("check", quiet, as_json, lambda progress: stages.check(folder, settings_path, progress, map_path))


@main.command()
@shared(DIR, OUT, MAP, SETTINGS, QUIET, JSON)
def load(
    folder: Path, out: Path, map_path: Path | None, settings_path: Path | None, quiet: bool, as_json: bool
) -> None:
    """Load the input tables in DIR into the store, as one batch or not at all.

    \b
    Example:
      rmt-outcomes load sample_data --out out
    """
    from pipeline import stages
    run("load", quiet, as_json, lambda progress: stages.load(folder, out, settings_path, progress, map_path))


@main.command()
@shared(OUT, SETTINGS, ENGINE, ONLY_SUMS, QUARTER, QUIET, JSON)
def derive(
    out: Path, settings_path: Path | None, engine: Choice | None, only_sums: bool, quarter: str | None, quiet: bool,
    as_json: bool,
) -> None:
    """Build the derived tables in the store from what was loaded.

    \b
    Example:
      rmt-outcomes derive --out out
      rmt-outcomes derive --out out --engine slices:16
      rmt-outcomes derive --out out --engine sc://host:15002 --only-sums
    """
    from pipeline import stages
    from pipeline.stages_engine import OnlySums
    if quarter is not None and not only_sums:
        raise click.UsageError("--quarter goes with --only-sums; without it `analyse` takes the quarter")
    _refuse_sums_alone(engine, only_sums)
    wanted = OnlySums(quarter) if only_sums else None
    run("derive", quiet, as_json, lambda progress: stages.derive(out, settings_path, progress, engine, wanted))


def _refuse_sums_alone(engine: Choice | None, only_sums: bool) -> None:
    if only_sums and engine is None:
        raise click.UsageError("--only-sums goes with --engine slices, slices:N or sc://host:port")


@main.command()
@shared(OUT, SETTINGS, QUARTER, QUIET, JSON)
@click.option("--cross-check", is_flag=True, help="Refit the primary models with statsmodels too, and compare.")
@click.option("--where", metavar="CONDITION", help="Add the primary analysis on these rows only, marked post hoc.")
@click.option("--label", metavar="TEXT", help="What to call that analysis; it stays in the store.")
def analyse(
    out: Path, settings_path: Path | None, quarter: str | None, quiet: bool, as_json: bool, cross_check: bool,
    where: str | None, label: str | None,
) -> None:
    """Compute the results of a quarter from the derived tables.

    \b
    Example:
      rmt-outcomes analyse --out out --quarter 2026Q3
      rmt-outcomes analyse --out out --where "sex = female and age_years >= 60" --label "Older women"
    """
    from pipeline import stages
    if (where is None) != (label is None):
        raise click.UsageError("give --where and --label together")
    run("analyse", quiet, as_json, lambda progress: stages.analyse(
        out, settings_path, quarter, progress, cross_check, where=where, label=label))


@main.command()
@shared(OUT, SETTINGS, LANGUAGE, QUIET, JSON)
@click.option("--replace-shared", is_flag=True, help="Nobody was given this quarter's shared edition: make it anew.")
def report(
    out: Path, settings_path: Path | None, language: str | None, quiet: bool, as_json: bool, replace_shared: bool
) -> None:
    """Write the pages, internal and shared, from the results.

    \b
    Example:
      rmt-outcomes report --out out
      rmt-outcomes report --out out --language de
    """
    from pipeline import stages
    run("report", quiet, as_json, lambda progress: stages.report(
        out, settings_path, progress, language, replace_shared=replace_shared))


@main.command()
@click.argument("folder", metavar="[DIR]", type=Place(kind="folder"), required=False)
@click.option("--as-of", "as_of", type=click.IntRange(min=1), metavar="BATCH",
              help="Load nothing: rebuild the review of an earlier batch, into OUT/as_of_BATCH.")
@shared(OUT, MAP, SETTINGS, QUARTER, ENGINE, ONLY_SUMS, QUIET, JSON)
def review(
    folder: Path | None, as_of: int | None, out: Path, map_path: Path | None, settings_path: Path | None,
    quarter: str | None, engine: Choice | None, only_sums: bool, quiet: bool, as_json: bool,
) -> None:
    """Do it all: load DIR, derive, analyse, and write the pages.

    \b
    Example:
      rmt-outcomes review sample_data --out out --quarter 2026Q3
      rmt-outcomes review --as-of 1 --out out --quarter 2026Q3
    """
    from pipeline import stages
    if (folder is None) == (as_of is None):
        raise click.UsageError("give either DIR or --as-of BATCH")
    if folder is None and engine is not None:
        raise click.UsageError("--engine goes with DIR, not with --as-of")
    _refuse_sums_alone(engine, only_sums)
    if folder is None:
        batch = as_of or 0
        run("review", quiet, as_json,
            lambda progress: stages.review_as_of(batch, out, settings_path, quarter, progress))
        return
    run("review", quiet, as_json,
        lambda progress: stages.review(folder, out, settings_path, quarter, progress, map_path, engine,
                                       only_sums=only_sums))


cli_intake.add_to(main)
cli_history.add_to(main)
cli_explain.add_to(main)
cli_export.add_to(main)
cli_identity.add_to(main)
cli_plan.add_to(main)
