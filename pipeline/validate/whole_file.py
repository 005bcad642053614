"""Faults for which a file is refused whole: it looks like identifying data, or it cannot be trusted at all."""

from __future__ import annotations

import difflib
from collections.abc import Callable

import polars as pl

from pipeline.contract import TABLES
from pipeline.errors import RmtError
from pipeline.identity import Finding, column_findings, findings, shown_heading
from pipeline.ingest import RawTable
from pipeline.ingest.raw import physical
from pipeline.settings import Settings
from pipeline.validate.verdict import FileVerdict

#: How alike two headings must be (0-1) before one is offered for the other; our choice, no source.
_ALIKE = 0.5


def _refused(rule: str, where: str, what: str, expected: str, now: str) -> RmtError:
    return RmtError(f"refused by {rule}: {what}", where=where, expected=expected, now=now)


def _said(raw: RawTable, found: list[Finding]) -> list[RmtError]:
    return [
        RmtError(f"refused: column {place} ({shown_heading(f.column)}) looks like identifying data: {f.kind}, "
                 f"{f.count} cells", where=f"{raw.file}:1:{place}", expected="no direct identifiers",
                 now="take this column out of the file and run this again")
        for f in found for place in [raw.place_of(f.column) or f.column_no]
    ]


def identities(raw: RawTable) -> list[RmtError]:
    """Say which columns of a file look like identifying data: column, kind and count, and no value."""
    return _said(raw, findings(raw.headings, raw.rows, TABLES[raw.table].column_names))


def scanned_identities(raw: RawTable, values: Callable[[int], pl.DataFrame]) -> list[RmtError]:
    """Say the same of a large file. `values` gives the different `value`s of the column at a place, and `n` cells."""
    known = TABLES[raw.table].column_names
    found = [f for k, heading in enumerate(raw.headings) for f in column_findings(k + 1, heading, values(k), known)]
    return _said(raw, sorted(found, key=lambda f: (f.column_no, f.kind, f.count)))


def _missing(raw: RawTable) -> list[RmtError]:
    """One fault for each required column that is missing, with the heading most like it, if one is alike."""
    table = TABLES[raw.table]
    spare = {h.casefold().replace(" ", "_"): h for h in raw.headings if h not in table.column_names}
    found = []
    for name in (n for n in table.required_names if n not in raw.headings):
        near = difflib.get_close_matches(name, sorted(spare), n=1, cutoff=_ALIKE)
        hint = f"rename '{shown_heading(spare[near[0]])}', if that is it" if near else "add it, or export it too"
        found.append(_refused(f"{raw.table}.{name}.missing", f"{raw.file}:1",
                              f"the required column '{name}' is missing",
                              "the headings " + ", ".join(table.required_names), hint))
    return found


def before_rows(raw: RawTable, n_read: int) -> list[RmtError]:
    """List the faults that make its rows not worth judging: columns missing, no rows where some are needed."""
    found = _missing(raw)
    if not n_read and TABLES[raw.table].needed:
        found.append(_refused(f"{raw.table}.file.empty", raw.file, "there are headings but no rows", "at least one row",
                              "export it again"))
    return found


def mip_signs(typed: pl.DataFrame) -> pl.DataFrame:
    """Return `side` (-1 or 1), `n` and the first `lines` of the MIP values below and above 0."""
    mip = typed.filter((pl.col("pressure") == "mip") & (pl.col("value") != 0))
    return mip.group_by(side=pl.col("value").sign().cast(pl.Int64)).agg(
        n=pl.len(), lines=physical(pl.col("line_").sort().head(6))).sort("side")


def _mixed_signs(file: str, signs: pl.DataFrame) -> list[RmtError]:
    if signs.height < 2:
        return []
    (_, n_below, below), (_, n_above, above) = signs.rows()
    name, fewer, lines = ("negative", n_below, below) if n_below <= n_above else ("positive", n_above, above)
    listed = ", ".join(map(str, lines[:5])) + (" ..." if fewer > 5 else "")
    return [_refused(
        "tests.value.mixed_signs", file,
        f"{n_below} MIP values are below 0 and {n_above} above; the {name} ones stand in lines {listed}",
        "MIP with one sign throughout a file", "settle the sign at the source and export it again")]


def _too_many(verdict: FileVerdict, limit_pct: float) -> list[RmtError]:
    n = verdict.rows_set_aside
    if n * 100 <= limit_pct * verdict.rows_read:
        return []
    top = verdict.set_aside.group_by("rule").agg(n=pl.len()).sort(["n", "rule"], descending=[True, False])["rule"][:3]
    return [_refused(f"{verdict.table}.file.set_aside_max_pct", verdict.file,
                     f"{n} of {verdict.rows_read} rows would be set aside, most often by {', '.join(top)}",
                     f"at most {limit_pct:g} % (settings: set_aside_max_pct)", "check the export, column by column")]


def after_rows(verdict: FileVerdict, signs: pl.DataFrame | None, settings: Settings) -> list[RmtError]:
    """List the faults of a whole file that its judged rows show: MIP of mixed signs, too many rows set aside.

    signs: see `mip_signs`; None for a table without pressures.
    """
    mixed = [] if signs is None else _mixed_signs(verdict.file, signs)
    return mixed + _too_many(verdict, settings.set_aside_max_pct)
