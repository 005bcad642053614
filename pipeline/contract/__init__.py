"""The input contract: every table, column, unit, range, code and row rule, in one place.

The pandera schemas (`pandera_schemas`), the SQL verdict (`sql_verdict`) and the README's tables are made from TABLES.
"""

from __future__ import annotations

from pipeline.contract.columns import EXPECTED, SPELLING, Column, RowRule, Table
from pipeline.contract.measures import INSTRUMENTS, OTHER_OUTCOMES, SESSIONS, TESTS, WEEKLY_LOGS
from pipeline.contract.people import CLIENTS, EPISODES, EVENTS, PAUSES, PRESCRIPTIONS, REVIEWS

TABLES: dict[str, Table] = {
    t.name: t
    for t in (
        CLIENTS, EPISODES, PRESCRIPTIONS, SESSIONS, WEEKLY_LOGS, PAUSES, EVENTS, TESTS, OTHER_OUTCOMES, INSTRUMENTS,
        REVIEWS,
    )
}

__all__ = ["EXPECTED", "SPELLING", "TABLES", "Column", "RowRule", "Table"]
