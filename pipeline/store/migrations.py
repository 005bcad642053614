"""Brings a store of an earlier version to the tables of this one, step by step; any other store is refused.

Whoever changes the tables of `received` adds a step here; a test holds the last step to the tables as they are made.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pipeline.store.store import Store


@dataclass(frozen=True)
class Step:
    """What turns the tables of the mark `before` into those of the next step (or of this version)."""

    before: str
    statements: tuple[str, ...]


#: The mark of this version's tables (see `schema.schema_mark`).
CURRENT = "f4ed5da7ab0e"

STEPS: tuple[Step, ...] = (
    Step("f61fcad3bfac", (
        "alter table received.batches add column map_text varchar default ''",
        "alter table received.batches alter column map_text drop default",
        "alter table received.files add column contract_mark varchar",
        "alter table received.files add column is_correction boolean default false",
        "alter table received.files alter column is_correction drop default",
        "create table received.set_aside_rows (batch_id bigint, file varchar, line bigint, table_name varchar, "
        "key_text varchar, cells varchar)",
        # what an earlier version set aside has no cells: its rows are exported empty, to be filled by hand
        "insert into received.set_aside_rows select distinct batch_id, file, line, table_name, null, '{}' "
        "from received.set_aside order by all",
        "create table received.reviews (client_key varchar, reviewed_on date, outcome varchar, ordinal bigint, "
        "from_batch bigint, to_batch bigint, file varchar, line bigint)",
    )),
)


def migrate(store: Store, found: str, check: Callable[[], None]) -> bool:
    """Run the steps from the mark `found` on, in one transaction, and `check` the outcome; False if none begins there.
    """
    places = [k for k, step in enumerate(STEPS) if step.before == found]
    if not places:
        return False
    with store.transaction():
        for step in STEPS[places[0]:]:
            for statement in step.statements:
                store.execute(statement)
        check()
    return True
