"""Puts the SQL of this project into the dialect of Spark, by sqlglot, for the Spark Connect door and nobody else."""

from __future__ import annotations

import sqlglot
from sqlglot import exp


def plain_name(table: str) -> str:
    """Name the view of a table such as "settled.tests": views of a session have no schema."""
    return table.replace(".", "__")


def spark_text(sql: str) -> str:
    """Translate one SELECT. `interval (n) day` takes no expression in Spark: there a day is moved by date_add."""
    tree = sqlglot.parse_one(sql, read="duckdb")
    for table in list(tree.find_all(exp.Table)):
        if table.db:
            table.replace(exp.to_table(plain_name(f"{table.db}.{table.name}"), alias=table.alias))
    for moved in list(tree.find_all(exp.Add, exp.Sub)):
        if isinstance(moved.expression, exp.Interval):
            days = exp.cast(moved.expression.this, "int")
            by = exp.Neg(this=days) if isinstance(moved, exp.Sub) else days
            moved.replace(exp.Anonymous(this="date_add", expressions=[moved.this, by]))
    return tree.sql(dialect="spark", comments=False)
