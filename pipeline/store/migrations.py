"""Brings a store of an earlier version to the tables of this one where nothing can be misread; any other is refused.

An earlier store lacks tables or columns that came since: they come in empty, which means not recorded. A store that
has a table or column which this version does not know, or of another type, is no such store.
"""

from __future__ import annotations

Shape = list[tuple[str, str, str]]


def steps(found: Shape, wanted: Shape) -> list[str] | None:
    """Write the statements that make the tables of shape `found` those of `wanted` (table, column, type); None where
    `found` has anything that `wanted` has not. Each changed table is written anew, so that its columns stand in order.
    """
    if not set(found) <= set(wanted) or not found:
        return None
    have, statements = set(found), list[str]()
    for table in dict.fromkeys(t for t, _, _ in wanted):
        columns = [(c, kind) for t, c, kind in wanted if t == table]
        known = [c for c, kind in columns if (table, c, kind) in have]
        if len(known) == len(columns):
            continue
        if known:
            statements.append(f"alter table received.{table} rename to {table}_before")
        statements.append(f"create table received.{table} ({', '.join(f'{c} {kind}' for c, kind in columns)})")
        if known:
            names = ", ".join(known)
            statements.append(f"insert into received.{table} ({names}) select {names} from received.{table}_before")
            statements.append(f"drop table received.{table}_before")
    return [*statements, *_FILLED] if ("set_aside_rows", "cells", "VARCHAR") not in have else statements


#: What an earlier version set aside has no cells: its rows are exported empty, to be filled by hand.
_FILLED = (
    "insert into received.set_aside_rows select distinct batch_id, file, line, table_name, null, '{}' "
    "from received.set_aside order by all",
)
