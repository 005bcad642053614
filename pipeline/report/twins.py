"""The machine's editions of the pages: results as JSON, frames as CSV."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.report.clients import gathered
from pipeline.report.complete import completed
from pipeline.report.look import Look
from pipeline.report.render import put_file
from pipeline.report.views import PageMeta
from pipeline.results import Result, ResultSet

#: Bits below the twelfth digit depend on the machine, not on the data.
DIGITS = 12


def _stable(value: Any) -> Any:
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
    return value


def as_dict(result: Result) -> dict[str, Any]:
    """A result with its key, as reports/results.schema.json says; empty fields are left out, and n_of for people."""
    usual = {"n_of": "people"}
    fields = {k: _stable(v) for k, v in vars(completed(result)).items() if v not in (None, "") and usual.get(k) != v}
    return {"key": result.key} | fields


def results_json(results: ResultSet, meta: PageMeta) -> str:
    """All results and what the head of the pages says, as JSON, in any language the same; one result a line."""
    facts = {name: fact for name, fact in asdict(meta).items() if name != "language" and fact is not False}
    head = json.dumps({"schema_version": 1, **facts}, ensure_ascii=False, indent=1).removesuffix("\n}")
    lines = ",\n".join(json.dumps(as_dict(r), ensure_ascii=False) for r in results.rows)
    return f'{head},\n "results": [\n{lines}\n]\n}}\n'


def stalled_csv(look: Look) -> str:
    """The list of clients as CSV: one row a client and pressure, in the order of checking, reasons found joined."""
    ranged = ("slope", "gain")
    numbers = ("order", *ranged, "probability_below_target", "tests_since", "adherence", "usual_effort")
    rows: list[dict[str, Any]] = []
    for client in gathered(look):
        row: dict[str, Any] = {"client_key": client.key, "pressure": client.pressure, "site": client.text("site", ""),
                               "state": client.text("state", "")}
        for name in numbers:
            fact = client.facts.get(name)
            row[name] = _stable(fact.value) if fact else None
            if name in ranged:
                row |= {f"{name}_low": _stable(fact.low) if fact else None,
                        f"{name}_high": _stable(fact.high) if fact else None}
        row["next_test_on"] = client.text("next_test_on", "")
        row["reasons_found"] = "; ".join(r.text for r in client.many("reason") if r.note in ("", "found"))
        row["questions"] = " ".join(r.text for r in client.many("question"))
        rows.append(row)
    return pl.DataFrame(rows, infer_schema_length=None).pipe(disarmed).write_csv() if rows else "client_key\n"


def disarmed(frame: pl.DataFrame) -> pl.DataFrame:
    """Put a quote before any text that a spreadsheet would run."""
    return frame.with_columns(pl.col(pl.String).str.replace(r"^([=+\-@\t\r])", "'${1}"))


def write_table(frame: pl.DataFrame, path: Path) -> Path:
    """Write a frame as CSV (comma, Unix line ends, empty for null); text that a spreadsheet would run is disarmed."""
    return put_file(path, disarmed(frame).write_csv())
