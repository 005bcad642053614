"""Reads `annotations.toml` of a folder: every fault at once, and no sentence that looks like identifying data."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pipeline.contract.annotations import FILE, Annotation, parsed
from pipeline.errors import FileRefused, IdentifierFound, RmtError
from pipeline.identity.gate_sentences import sentence_kinds

MEND = "mend these places in annotations.toml and run again; README, 'Notes and decisions', shows one"


def _telling(found: list[Annotation]) -> list[RmtError]:
    """One fault for each entry whose words look identifying; the words themselves are never shown."""
    faults = []
    for one in found:
        kinds = sorted({k for words in (one.text, one.followed) for k in sentence_kinds(words)})
        if kinds:
            faults.append(RmtError(f"refused: the {one.kind} of {one.on_day.isoformat()} looks like {', '.join(kinds)}",
                                   where=FILE, expected="words about the clinic, and about no person or place",
                                   now="say it without that, in annotations.toml"))  # fmt: skip
    return faults


def read_annotations(folder: Path) -> tuple[Annotation, ...] | None:
    """The notes and decisions of a folder, in the order of days; None where it has no such file.

    FileRefused with every fault, IdentifierFound where a sentence looks like a name, a place, an address or a number.
    """
    path = folder / FILE
    if not path.is_file():
        return None
    try:
        tree = tomllib.loads(path.read_bytes().decode("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise FileRefused([RmtError("refused: it cannot be read as TOML", where=FILE, expected="TOML in UTF-8",
                                    now="check its quotes and brackets")]) from fault  # fmt: skip
    found, faults = parsed(tree)
    if faults:
        raise FileRefused([RmtError(f"refused: {f}", where=FILE, expected="entries as the README shows them", now=MEND)
                           for f in faults])  # fmt: skip
    if telling := _telling(found):
        raise IdentifierFound(telling)
    return tuple(found)
