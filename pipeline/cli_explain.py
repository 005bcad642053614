"""The command that traces a number, a word or a rule to its definition, its inputs and what changed it."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli_words import JSON, OUT, QUIET, Quarter, run, shared

KEY = click.argument("key", metavar="KEY")
PRINTED = click.option("--printed", type=float, help="A number printed in an earlier review: which rows changed it.")
OF = click.option("--quarter", type=Quarter(), help="With --printed: the quarter of that review, as 2026Q2.")


@click.command()
@shared(KEY, PRINTED, OF, OUT, QUIET, JSON)
def explain(key: str, printed: float | None, quarter: str | None, out: Path, quiet: bool, as_json: bool) -> None:
    """Say what KEY is: definition, formula, inputs with row counts, settings, source, and where it is defined.

    KEY is a result key as in results.json, a word (dose, effort, gain, state), or a rule of the input contract.

    \b
    Examples:
      rmt-outcomes explain "quarter.gains.gain_cmh2o[pressure=mip]@12"
      rmt-outcomes explain dose
      rmt-outcomes explain tests.value.number
    """
    from pipeline import stages_explain
    run("explain", quiet, as_json, lambda progress: stages_explain.explain(key, out, printed, quarter))


def add_to(main: click.Group) -> None:
    """Add this command to the program."""
    main.add_command(explain)
