"""Generated rows of any number for the engines: the same number, the same rows. Written straight into a store.

Everything that a derivation looks at is in (bench/engines_rows.sql): courses that go on at another site, doses that
change, diaries, pauses, steps and easing, two effort scales in a week, values in other units and of the wrong sign,
series that break, rows outside every episode, keys nobody knows, rows set aside, and empty cells everywhere.
"""

from __future__ import annotations

from pathlib import Path

from pipeline.store import Store

#: Sessions of a client, on average: 1,000,000 rows are asked for with 4,504 clients.
SESSIONS_A_CLIENT = 222
_SQL = Path(__file__).with_name("engines_rows.sql")


def add_rows(store: Store, sessions: int) -> int:
    """Put generated rows beside what an open store holds; about `sessions` sessions. Returns how many there are."""
    if not int(store.sql("select count(*) as n from received.batches").item()):
        store.execute("insert into received.batches by name select 1 as batch_id, 'generated' as loaded_at, "
                      "'0' as program_version, '{}' as settings_text")
    store.execute(f"set variable clients = {max(1, sessions // SESSIONS_A_CLIENT)}")
    store.execute(_SQL.read_text(encoding="utf-8"))
    return int(store.sql("select count(*) as n from received.sessions where file = 'g_sessions.csv'").item())
