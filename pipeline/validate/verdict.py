"""What a check and a load say: counts by file, the rows kept, the rows set aside, and sentences to print."""

from __future__ import annotations

from dataclasses import dataclass, field

import polars as pl

#: Columns of every set-aside frame: one row a fault; `line` tells the rows of the file apart.
SET_ASIDE_SCHEMA: dict[str, type[pl.DataType]] = {
    "file": pl.String, "line": pl.Int64, "column_no": pl.Int64, "table_name": pl.String, "column_name": pl.String,
    "rule": pl.String, "expected": pl.String, "masked_value": pl.String, "site": pl.String, "client_key_ok": pl.String,
    "occurred_on": pl.Date,
}


#: One row for each row set aside: where it stands, its natural key as text (null where a part is empty) and, as JSON,
#: its cells that are in order; a faulty cell is null.
CELLS_SCHEMA: dict[str, type[pl.DataType]] = {
    "file": pl.String, "line": pl.Int64, "key_text": pl.String, "cells": pl.String}


@dataclass(frozen=True)
class FileVerdict:
    """One file. `kept`: the contract's columns typed, `ordinal` and `line`, and `file` where rows come from several
    sheets; `set_aside` as SET_ASIDE_SCHEMA.

    The kept rows of a large file are no frame: `relation` is the SELECT that gives them, in the store they were judged
    in, and `n_in_relation` their number; `judged`, if any, is the table in which they can stay. `cells`: the rows set
    aside, as CELLS_SCHEMA. `corrects`: what a file of
    corrections answers (`batch_id`, `file`, `line`); None for any other file.
    """

    file: str
    table: str
    sha256: str
    rows_read: int
    kept: pl.DataFrame
    set_aside: pl.DataFrame
    unknown_columns: tuple[str, ...]
    relation: str = ""
    n_in_relation: int = 0
    judged: str = ""
    cells: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=CELLS_SCHEMA))
    corrects: pl.DataFrame | None = None

    @property
    def rows_kept(self) -> int:
        """Count the rows that would be loaded (those that the store holds already included)."""
        return self.n_in_relation if self.relation else self.kept.height

    @property
    def rows_unchanged(self) -> int:
        """A check knows no store: 0."""
        return 0

    @property
    def rows_set_aside(self) -> int:
        """Count the rows set aside, each once, however many faults it has."""
        return self.cells.height


@dataclass(frozen=True)
class Verdict:
    """All files of one folder, judged. `absent`: the contract's tables that have no file."""

    files: tuple[FileVerdict, ...]
    absent: tuple[str, ...]
    other_files: tuple[str, ...]
    map_text: str = ""

    @property
    def set_aside(self) -> pl.DataFrame:
        """Return the set-aside records of all files, in the order of file, line, column and rule."""
        return pl.concat([f.set_aside for f in self.files]) if self.files else pl.DataFrame(schema=SET_ASIDE_SCHEMA)

    @property
    def unknown_columns(self) -> dict[str, tuple[str, ...]]:
        """Return the columns left out because the contract does not know them, by file; each shown or masked."""
        return {f.file: f.unknown_columns for f in self.files}


@dataclass(frozen=True)
class LoadMeta:
    """What a batch record says about the load itself."""

    loaded_at: str
    program_version: str
    settings_text: str
    note: str = ""


@dataclass(frozen=True)
class FileCount:
    """One file of a load: rows_kept + rows_set_aside + rows_unchanged = rows_read."""

    file: str
    table: str
    rows_read: int
    rows_kept: int
    rows_set_aside: int
    rows_unchanged: int


@dataclass(frozen=True)
class LoadSummary:
    """What a load did. `changed` is false where the same files had been loaded last: no batch was made."""

    batch_id: int
    changed: bool
    files: tuple[FileCount, ...]


@dataclass(frozen=True)
class RuleBlock:
    """One rule that set rows of one file aside: the first of them in full, the lines of the others."""

    file: str
    rule: str
    line: int
    column_no: int | None
    expected: str
    masked_value: str
    n_rows: int
    more_lines: tuple[int, ...]

    @property
    def text(self) -> str:
        """Say it in two or three lines, the value's shape only."""
        place = f"{self.file}:{self.line}" + (f":{self.column_no}" if self.column_no else "")
        said = f"{place}: set aside by {self.rule}: expected {self.expected}"
        said += f", got {self.masked_value}, value hidden." if self.masked_value else "."
        if self.n_rows > 1:
            dots = " ..." if self.n_rows > 1 + len(self.more_lines) else ""
            said += f"\n    {self.n_rows - 1} more rows (lines {', '.join(map(str, self.more_lines))}{dots}); "
            said += f"rmt-outcomes explain {self.rule}"
        return said


def blocks(set_aside: pl.DataFrame) -> list[RuleBlock]:
    """Gather set-aside records into one block a file and rule, in the order of file and first line."""
    groups = set_aside.sort("file", "line", "column_no", "rule", nulls_last=False).group_by(
        "file", "rule", maintain_order=True)
    found = []
    for (file, rule), rows in groups:
        first = rows.row(0, named=True)
        lines = rows["line"].to_list()
        found.append(RuleBlock(str(file), str(rule), first["line"], first["column_no"], first["expected"],
                               first["masked_value"], len(lines), tuple(lines[1:4])))
    return found
