"""Loads a verdict into the store: one transaction, one batch; rows are added, or closed by a newer one, never lost."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import polars as pl

from pipeline.contract import TABLES
from pipeline.contract.annotations import Annotation
from pipeline.contract.sql import sql_verdict
from pipeline.errors import FileRefused, RmtError
from pipeline.ingest import Intake
from pipeline.store import Store
from pipeline.validate import corrections
from pipeline.validate.notes import keep_notes, notes_stand
from pipeline.validate.verdict import FileCount, FileVerdict, LoadMeta, LoadSummary, Verdict


def _same(names: tuple[str, ...]) -> str:
    return " and ".join(f"new.{n} is not distinct from old.{n}" for n in names)


def contract_mark(table: str) -> str:
    """Name the rules that judge a table: 12 hexadecimal digits that change with any of them."""
    return hashlib.sha256(sql_verdict(TABLES[table]).encode()).hexdigest()[:12]


def _standing(store: Store, map_text: str) -> dict[tuple[str, str], FileCount]:
    """Return the files that the store's rows stand for, by table and hash: of each table the last one, and the
    corrections since; judged by these rules, and brought here by this map."""
    found = store.sql(
        "with ordered as (select f.*, b.map_text, "
        "max(f.batch_id) filter (where not coalesce(f.is_correction, false)) over (partition by f.table_name) "
        "as last_batch from received.files as f join received.batches as b "
        "on b.batch_id = f.batch_id) select table_name, sha256, contract_mark, file, rows_read, rows_kept, "
        "rows_set_aside, rows_unchanged from ordered where coalesce(map_text, '') = $map and (batch_id = last_batch or "
        "is_correction and batch_id > coalesce(last_batch, 0)) order by batch_id, table_name, file", {"map": map_text})
    return {
        (table, sha256): FileCount(file, table, n_read, 0, n_aside, n_kept + n_unchanged)
        for table, sha256, mark, file, n_read, n_kept, n_aside, n_unchanged in found.iter_rows()
        if mark == contract_mark(table)}


def _last_batch(store: Store) -> int:
    return int(store.sql("select coalesce(max(batch_id), 0) as n from received.batches")["n"][0])


def standing_load(store: Store, intake: Intake, notes: Sequence[Annotation] | None = None) -> LoadSummary | None:
    """Say that nothing changes where the store already stands for every file of a folder, told by their hashes alone,
    and holds these notes; None where the files must be judged."""
    standing = _standing(store, intake.map_text)
    counts = [standing.get((raw.table, raw.sha256)) for raw in intake.files]
    if intake.faults or not counts or None in counts or not notes_stand(store, notes):
        return None
    return LoadSummary(_last_batch(store), False, tuple(c for c in counts if c is not None))


def _needed(store: Store, verdict: Verdict) -> None:
    """Raise FileRefused if a table without which nothing can be said is neither in the folder nor in the store."""
    def is_there(name: str) -> bool:
        return name not in verdict.absent or bool(store.sql(f"select count(*) as n from received.{name}")["n"][0])

    lacking = [name for name, table in TABLES.items() if table.needed and not is_there(name)]
    if not is_there("sessions") and not is_there("weekly_logs"):
        lacking.append("sessions or weekly_logs")
    if lacking:
        raise FileRefused([
            RmtError(f"refused: there is no file for {name}, and the store holds none",
                     expected="clients, episodes, tests, and one of sessions or weekly_logs",
                     now=f"add the file of {name} to the folder")
            for name in lacking])


@contextmanager
def _kept(store: Store, file: FileVerdict) -> Iterator[str]:
    """Give the relation of a file's kept rows for use in SQL."""
    if file.relation:
        yield file.relation
        return
    with store.frame("kept_rows", file.kept):
        yield "kept_rows" if file.corrects is None else _numbered_on(file.table)


def _numbered_on(name: str) -> str:
    """Write the relation of corrected rows; those without a whole key are numbered on from the rows in force, so that
    they replace none of them."""
    key = TABLES[name].natural_key
    last = (f"select {', '.join(key)}, max(ordinal) as last from received.{name} where to_batch is null "
            f"and ordinal > 0 group by {', '.join(key)}")
    return (f"(select new.* replace (new.ordinal + case when new.ordinal > 0 then coalesce(old.last, 0) else 0 end "
            f"as ordinal) from kept_rows as new left join ({last}) as old on {_same(key)})")


def _is_empty(store: Store, table: str) -> bool:
    return store.sql(f"select 1 as a from received.{table} limit 1").is_empty()


def _take_in(store: Store, file: FileVerdict) -> None:
    """Make the table in which a large file was judged the received one: rows set aside out, lines by place in."""
    judged, received = file.judged, f"received.{file.table}"
    for statement in (
        "create sequence received.next_line start 2",  # a new column is filled in the order of the rows
        f"alter table {judged} add column line bigint default nextval('received.next_line')",
        f"alter table {judged} alter column line drop default",
        "drop sequence received.next_line",
        f"delete from {judged} where fault_bits <> 0 or line in (select line_ from scratch.repeats_{file.table})",
        f"update {judged} as j set ordinal = o.ordinal from scratch.ordinals_{file.table} as o where o.place = j.line",
        f"alter table {judged} drop column fault_bits",
        f"drop table {received}",
        f"alter table {judged} rename to {file.table}",
    ):
        store.execute(statement)


def _load_rows(store: Store, file: FileVerdict, batch_id: int) -> int:
    """Add the new and changed rows of one file, close the versions they replace; return how many were added."""
    table = TABLES[file.table]
    identity, whole = (*table.natural_key, "ordinal"), (*table.column_names, "ordinal")
    names, at = ", ".join(whole), {"batch": batch_id}
    place = "file" if "file" in file.kept.columns else "'" + file.file.replace("'", "''") + "'"  # see FileVerdict.kept
    in_order = "order by file, line" if place == "file" else "order by line"
    insert = (f"insert into received.{table.name} ({names}, from_batch, to_batch, file, line) "
              f"select {names}, $batch, null, {place}, line from ")
    with _kept(store, file) as kept:
        if _is_empty(store, table.name):
            if file.judged:
                _take_in(store, file)
                return file.rows_kept
            store.execute(f"{insert} {kept} as new" + ("" if file.relation else f" {in_order}"), at)
            store.execute(f"drop table if exists received.{table.name}_judged")
            return file.rows_kept
        current = f"select * from received.{table.name} where to_batch is null"
        store.execute(f"create or replace temp table fresh as select new.* from {kept} as new "
                      f"anti join ({current}) as old on {_same(whole)}")
    store.execute(f"update received.{table.name} as old set to_batch = $batch from temp.fresh as new "
                  f"where old.to_batch is null and {_same(identity)}", {"batch": batch_id})
    store.execute(f"{insert} temp.fresh {in_order}", at)
    added = int(store.sql("select count(*) as n from temp.fresh")["n"][0])
    store.execute("drop table temp.fresh")
    return added


def _close_set_aside(store: Store, file: FileVerdict, batch_id: int) -> None:
    """Close the earlier set-aside records of a table that a complete new export replaces.

    An export is taken as complete when it lacks no more of the rows in force than it has rows set aside; a file with
    only later rows leaves the earlier records standing, so that none is dropped in silence.
    """
    table, current = TABLES[file.table], f"received.{file.table} where to_batch is null"
    is_there = "table_name = $table and to_batch is null"
    if store.sql(f"select 1 as a from received.set_aside where {is_there} limit 1", {"table": table.name}).is_empty():
        return
    with _kept(store, file) as kept:
        lacking = int(store.sql(
            f"select count(*) as n from (select * from {current}) as old "
            f"anti join {kept} as new on {_same((*table.natural_key, 'ordinal'))}")["n"][0])
    if lacking <= file.rows_set_aside:
        store.execute(f"update received.set_aside set to_batch = $batch where {is_there}",
                      {"batch": batch_id, "table": table.name})


def _note(store: Store, file: FileVerdict, batch_id: int, added: int) -> FileCount:
    """Write a file's record, its set-aside rows and its unknown columns; return its counts."""
    count = FileCount(file.file, file.table, file.rows_read, added, file.rows_set_aside, file.rows_kept - added)
    store.insert("received.files", pl.DataFrame({
        "batch_id": [batch_id], "file": [file.file], "table_name": [file.table], "sha256": [file.sha256],
        "rows_read": [count.rows_read], "rows_kept": [count.rows_kept], "rows_set_aside": [count.rows_set_aside],
        "rows_unchanged": [count.rows_unchanged], "contract_mark": [contract_mark(file.table)],
        "is_correction": [file.corrects is not None]}))
    store.insert("received.set_aside", file.set_aside.with_columns(
        batch_id=pl.lit(batch_id, pl.Int64), to_batch=pl.lit(None, pl.Int64)))
    store.insert("received.set_aside_rows", file.cells.with_columns(
        batch_id=pl.lit(batch_id, pl.Int64), table_name=pl.lit(file.table)))
    store.insert("received.unknown_columns", pl.DataFrame(
        {"column_name": list(file.unknown_columns)}, schema={"column_name": pl.String}).with_columns(
        batch_id=pl.lit(batch_id, pl.Int64), file=pl.lit(file.file), table_name=pl.lit(file.table)))
    return count


def _unchanged(verdict: Verdict, batch_id: int) -> LoadSummary:
    counts = (FileCount(f.file, f.table, f.rows_read, 0, f.rows_set_aside, f.rows_kept) for f in verdict.files)
    return LoadSummary(batch_id, False, tuple(counts))


def load(
    store: Store, verdict: Verdict, meta: LoadMeta, notes: Sequence[Annotation] | None = None
) -> LoadSummary:
    """Load judged files as one batch, in one transaction; files that were the last loaded already change nothing.

    notes: what annotations.toml holds; None where there is no such file, which leaves the store's as they are.

    FileRefused if a needed table is in neither the folder nor the store. The store's file is replaced when the
    store's `with` block ends well.
    """
    _needed(store, verdict)
    standing = _standing(store, verdict.map_text)
    if all((f.table, f.sha256) in standing for f in verdict.files) and notes_stand(store, notes):
        return _unchanged(verdict, _last_batch(store))
    batch_id = _last_batch(store) + 1
    counts = []
    with store.transaction():
        for file in verdict.files:
            if file.corrects is None:
                _close_set_aside(store, file, batch_id)
            else:
                corrections.close(store, file.table, file.corrects, batch_id)
            counts.append(_note(store, file, batch_id, _load_rows(store, file, batch_id)))
        keep_notes(store, notes, batch_id)
        store.insert("received.batches", pl.DataFrame({
            "batch_id": [batch_id], "loaded_at": [meta.loaded_at], "program_version": [meta.program_version],
            "settings_text": [meta.settings_text], "note": [meta.note], "map_text": [verdict.map_text]}))
    return LoadSummary(batch_id, True, tuple(counts))
