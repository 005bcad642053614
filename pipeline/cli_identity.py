"""Commands about who is who: surrogate keys and their crosswalk, and the erasure of a person."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from pipeline.cli_output import failure
from pipeline.cli_words import DIR, JSON, MAP, OUT, QUIET, SETTINGS, Place, run, shared

KEY = click.argument("key", metavar="KEY")
CROSSWALK = click.option("--crosswalk", required=True, type=Place(), help="The site's own list of who is who.")
TARGET = click.option("--out", "target", type=Place(), help="Folder to write to; default: DIR with -keys added.")
PERSON = click.option("--person", multiple=True, metavar="COLUMN",
                      help="A column that names a person; several together: once for each. Default: client_key.")
OFFSETS = click.option("--offsets", is_flag=True, help="Write days as offsets from each client's own start.")
STORE_ONLY = click.option("--store-only", is_flag=True, help="Remove the pages and do not make them again.")
BY = click.option("--by", multiple=True, required=True, metavar="COLUMN", help="A column that tells the two apart.")
TO = click.option("--to", required=True, type=Place(kind="file"), help="The other site's crosswalk.")
AS = click.option("--as", "there", required=True, metavar="KEY", help="What the other site calls the person now.")


@click.command()
@shared(DIR, CROSSWALK, TARGET, PERSON, OFFSETS, MAP, QUIET, JSON)
def surrogate(
    folder: Path, crosswalk: Path, target: Path | None, person: tuple[str, ...], offsets: bool, map_path: Path | None,
    quiet: bool, as_json: bool,
) -> None:
    """Write the tables in DIR again, with random keys for people and without identifiers.

    FILE keeps who is who. It is made with mode 0600, must lie outside the folder written to, and is never overwritten:
    run again, and everybody keeps their key.

    \b
    Example:
      rmt-outcomes surrogate exports --crosswalk ~/private/who.jsonl --person mrn --out for_intake
    """
    from pipeline import stages_identity
    place = target or folder.with_name(folder.name + "-keys")
    run("surrogate", quiet, as_json, lambda progress: stages_identity.surrogate(
        folder, crosswalk, place, person, offsets, progress, map_path))


@click.command()
@shared(KEY, CROSSWALK)
def who(key: str, crosswalk: Path) -> None:
    """Say who KEY stands for, on this site's own terminal only.

    \b
    Example:
      rmt-outcomes who k7mzx2aq9wtb --crosswalk ~/private/who.jsonl
    """
    if not sys.stdout.isatty():
        raise click.UsageError("a name is shown on a terminal only, never written to a file, a pipe or a log")
    from pipeline import stages_identity
    try:
        lines = stages_identity.who(key, crosswalk)
    except BaseException as fault:
        sys.exit(failure("who", fault, False))
    for line in lines:
        click.echo(line)


@click.command()
@shared(KEY, OUT, SETTINGS, STORE_ONLY, QUIET, JSON)
def forget(
    key: str, out: Path, settings_path: Path | None, store_only: bool, quiet: bool, as_json: bool
) -> None:
    """Erase a person from every batch and every output: consent withdrawn.

    \b
    Example:
      rmt-outcomes forget k7mzx2aq9wtb --out out
    """
    from pipeline import stages_forget
    run("forget", quiet, as_json, lambda progress: stages_forget.forget(
        key, out, settings_path, progress, store_only=store_only))


@click.group()
def crosswalk() -> None:
    """Settle who is who: split, merge, confirm, transfer, withdraw.

    \b
    Example:
      rmt-outcomes crosswalk split k7mzx2aq9wtb --by birth_date --crosswalk ~/private/who.jsonl
    """


@crosswalk.command()
@shared(KEY, BY, CROSSWALK, QUIET, JSON)
def split(key: str, by: tuple[str, ...], crosswalk: Path, quiet: bool, as_json: bool) -> None:
    """Two people stood under one name: tell them apart by further columns from now on."""
    from pipeline import stages_identity
    run("crosswalk split", quiet, as_json, lambda progress: stages_identity.split(key, by, crosswalk))


@crosswalk.command()
@shared(KEY, click.argument("other", metavar="OTHER"), CROSSWALK, QUIET, JSON)
def merge(key: str, other: str, crosswalk: Path, quiet: bool, as_json: bool) -> None:
    """KEY and OTHER are one person: OTHER gives way to KEY."""
    from pipeline import stages_identity
    run("crosswalk merge", quiet, as_json, lambda progress: stages_identity.merge(key, other, crosswalk))


@crosswalk.command()
@shared(KEY, CROSSWALK, QUIET, JSON)
def confirm(key: str, crosswalk: Path, quiet: bool, as_json: bool) -> None:
    """A key that is held as "maybe two people" is one person after all."""
    from pipeline import stages_identity
    run("crosswalk confirm", quiet, as_json, lambda progress: stages_identity.confirm(key, crosswalk))


@crosswalk.command()
@shared(KEY, CROSSWALK, QUIET, JSON)
def withdraw(key: str, crosswalk: Path, quiet: bool, as_json: bool) -> None:
    """Consent withdrawn: leave this person's rows out from now on."""
    from pipeline import stages_identity
    run("crosswalk withdraw", quiet, as_json, lambda progress: stages_identity.withdraw(key, crosswalk))


@crosswalk.command()
@shared(KEY, CROSSWALK, TO, AS, QUIET, JSON)
def transfer(key: str, crosswalk: Path, to: Path, there: str, quiet: bool, as_json: bool) -> None:
    """The person goes on at another site, which knows them already by a key of its own: both use KEY from now on.

    \b
    Example:
      rmt-outcomes crosswalk transfer k7mzx2aq9wtb --crosswalk mill.jsonl --to harbour.jsonl --as p4rt8wwq2zhn
    """
    from pipeline import stages_identity
    run("crosswalk transfer", quiet, as_json, lambda progress: stages_identity.transfer(key, crosswalk, to, there))


def add_to(main: click.Group) -> None:
    """Add these commands to the program."""
    for command in (surrogate, who, forget, crosswalk):
        main.add_command(command)
