"""The README's tables of the input contract, written from the contract itself."""

from __future__ import annotations

from pipeline.contract import TABLES
from pipeline.contract.columns import EXPECTED, Column, Table


def _takes(column: Column) -> str:
    if column.codes:
        return ", ".join(f"`{c}`" for c in column.codes)
    if column.low is not None or column.high is not None:
        return f"{EXPECTED[column.kind]}, {column.low} to {column.high}"
    return EXPECTED[column.kind]


def _row(column: Column) -> str:
    star = "*" if column.required else ""
    return f"| `{column.name}`{star} | {column.meaning} | {column.unit} | {_takes(column)} |"


def _section(table: Table) -> str:
    needed = "; needed for a first report" if table.needed else ""
    title = f"#### `{table.name}`: {table.grain}{needed}"
    head = [title, "", "| column | meaning | unit | takes |", "|---|---|---|---|"]
    rules = [f"- `{table.name}`: {r.expected}." for r in table.rules]
    return "\n".join([*head, *(_row(c) for c in table.columns), *([""] if rules else []), *rules])


def readme_tables() -> str:
    """Return the Markdown of all input tables; `*` marks a column that must stand in the file."""
    return "\n\n".join(_section(t) for t in TABLES.values()) + "\n"
