"""Commands of whoever plans an analysis: register a plan, and say how large a study must be."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli_words import JSON, OUT, QUIET, SETTINGS, Place, run, shared

FILE = click.argument("file", metavar="FILE", type=Place(kind="file"))


@click.command()
@shared(FILE, OUT, SETTINGS, QUIET, JSON)
def plan(file: Path, out: Path, settings_path: Path | None, quiet: bool, as_json: bool) -> None:
    """Check the plan in FILE and register it in the store, with the number of outcome tests loaded by then.

    A plan that differs from the one in force becomes a new dated row that says what changed. A plan.toml beside the
    tables is registered by `load` and `review` themselves, before they load anything.

    \b
    Example:
      rmt-outcomes plan sample_data/plan.toml --out out
    """
    from pipeline import stages
    run("plan", quiet, as_json, lambda progress: stages.plan(file, out, settings_path))


@click.command(name="plan-size")
@click.option("--difference", type=float, required=True, metavar="CMH2O", help="True difference of the gains.")
@click.option("--power", type=float, default=0.8, show_default=True, help="Chance of finding it.")
@click.option("--alpha", type=float, default=0.05, show_default=True, help="Chance of finding what is not there.")
@click.option("--sides", type=click.IntRange(1, 2), default=2, show_default=True, help="One- or two-sided test.")
@click.option("--weeks", type=float, default=12.0, show_default=True, help="Weeks from first to last test.")
@click.option("--tests", type=click.IntRange(min=2), multiple=True, help="Tests a person; may be given several times.")
@click.option("--lost", type=float, default=0.0, show_default=True, metavar="PCT", help="People never tested again.")
@click.option("--pressure", type=click.Choice(["mip", "mep"]), default="mip", show_default=True)
@click.option("--slope-sd", type=float, metavar="CMH2O", help="Spread of slopes per 12 weeks; default: the store's.")
@click.option("--test-sd", type=float, metavar="CMH2O", help="Spread of one test; default: the store's.")
@shared(OUT, QUIET, JSON)
def plan_size(
    difference: float, power: float, alpha: float, sides: int, weeks: float, tests: tuple[int, ...], lost: float,
    pressure: str, slope_sd: float | None, test_sd: float | None, out: Path, quiet: bool, as_json: bool,
) -> None:  # fmt: skip
    """Say how many people and tests it takes to see that the gains of two protocols differ.

    \b
    Examples:
      rmt-outcomes plan-size --difference 6 --out out
      rmt-outcomes plan-size --difference 6 --slope-sd 7 --test-sd 8 --lost 25
    """
    from pipeline import stages_size
    asked = stages_size.Asked(difference, weeks, power, alpha, sides, lost, pressure, slope_sd, test_sd,
                              tests or stages_size.TESTS)  # fmt: skip
    run("plan-size", quiet, as_json, lambda progress: stages_size.plan_size(asked, out))


def add_to(group: click.Group) -> None:
    """Add these commands to the group."""
    group.add_command(plan)
    group.add_command(plan_size)
