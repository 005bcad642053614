"""Shared editions: made with those before them in mind, kept in the store with their ledger, and left to stand.

results.editions: one row a shared edition written (edition_no, quarter, batch_id, program_version, settings_hash,
meta). results.edition_rows: its rows as printed (JSON). results.edition_counts: its ledger (edition_no, key, count,
is_shown, is_small, is_free, low, high: what a reader knows of a hidden one). results.edition_sums: which counts add up
to which.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from pipeline import __version__
from pipeline.errors import AuditFailed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.identity.audit import Cell
    from pipeline.identity.earlier_editions import Edition
    from pipeline.identity.shared_ledger import Before, Ledger
    from pipeline.report import PageMeta
    from pipeline.results import ResultSet
    from pipeline.store import Store

TABLES = {
    "editions": "edition_no bigint, quarter varchar, batch_id bigint, program_version varchar, settings_hash varchar, "
                "meta varchar",
    "edition_rows": "edition_no bigint, position bigint, row_text varchar",
    "edition_counts": "edition_no bigint, position bigint, key varchar, count bigint, is_shown boolean, "
                      "is_small boolean, is_free boolean, low double, high double",
    "edition_sums": "edition_no bigint, sum_no bigint, position bigint, total varchar, part varchar",
}  # fmt: skip


@dataclass(frozen=True)
class Identity:
    """What makes an edition the same one when it is written again."""

    quarter: str
    batch_id: int
    program_version: str
    settings_hash: str


@dataclass(frozen=True)
class Shared:
    """A shared edition ready to be written: rows, what its pages' heads say, its ledger, and words for the summary.

    `ledger` is None where an edition on record stands. `instead_of`: editions that this one replaces.
    """

    edition_no: int
    identity: Identity
    rows: ResultSet
    meta: PageMeta
    ledger: Ledger | None
    said: tuple[str, ...] = ()
    instead_of: tuple[int, ...] = ()


def shared_edition(
    store: Store, results: ResultSet, meta: PageMeta, limit: int, *, replace_shared: bool = False
) -> Shared:
    """The shared edition of the stored results, made so that no earlier one gives a hidden cell away.

    An edition of the same quarter stands as written where counts have moved by 1 to `limit` since it or any other of
    that quarter, or values alone; `replace_shared` says that nobody was given them. One from sums and one from rows are
    two, each with a number of its own; where both are on record the one of this kind stands. AuditFailed where a hidden
    cell could be derived.
    """
    from pipeline.identity.earlier_editions import repeated
    from pipeline.identity.sums_of_models import with_sums
    batch = int(store.sql("select as_of_batch from settings.current").item())
    identity = Identity(meta.quarter, batch, __version__, meta.settings_hash)
    every = [r for r in _recorded(store) if r[0].batch_id <= batch]
    gone = [e.edition_no for e, _, _ in every if replace_shared and e.quarter == meta.quarter]
    known = [r for r in every if r[0].edition_no not in gone]
    of_quarter = [r for r in reversed(known) if r[0].quarter == meta.quarter]
    alike = next((r for r in of_quarter if r[0].only_sums == meta.only_sums), None)
    is_again = alike is not None and alike[1] == identity
    own = alike or next(iter(of_quarter), None)
    number = own[0].edition_no if own and is_again else max((e.edition_no for e, _, _ in every), default=0) + 1
    earlier = [e for e, _, _ in known if e.edition_no < number]
    after_rows = any(e.quarter == meta.quarter and not e.only_sums for e in earlier)
    results = with_sums(results, limit, only_sums=meta.only_sums, after_rows=after_rows)
    so_far = repeated(results, earlier, meta.quarter)
    moved = [] if is_again else [(e, _moved(e, so_far, meta)) for e, _, _ in of_quarter]
    few = max((sum(1 <= abs(d) <= limit for d in far.values()) for _, far in moved), default=0)
    if own and few:
        return _standing(own, f"{few} counts have moved by 1 to {limit} since", meta)
    shared, ledger = _protected(so_far, earlier, meta.quarter, limit)
    if own and any(not far and e.batch_id != batch and not _is_same(e, shared, meta) for e, far in moved):
        return _standing(own, "values have moved since, and no count", meta)
    return Shared(number, identity, shared, _told(meta), ledger, instead_of=tuple(gone))


def _told(meta: PageMeta) -> PageMeta:
    """The head of the shared pages: the last day of the data may be one person's, so its quarter is told."""
    from pipeline.identity.few_digits import quarter_told
    return replace(meta, edition="shared", data_until_on=quarter_told(meta.data_until_on))


def _protected(
    so_far: ResultSet, earlier: Sequence[Edition], quarter: str, limit: int
) -> tuple[ResultSet, Ledger]:
    """The protected rows and their own ledger."""
    from pipeline.analyse.across import gathers
    from pipeline.identity.audit import derivable_cells
    from pipeline.identity.earlier_editions import ties
    from pipeline.identity.small_cells import ledger_of, protect
    before: Before = ties(so_far, earlier, quarter, limit, gathers)
    shared = protect(so_far, limit, before)
    audited = ledger_of(so_far, shared, limit, before)
    if found := derivable_cells(audited.cells, audited.sums, limit):
        raise AuditFailed(
            f"{len(found)} hidden cells could be derived from the published sums, those of earlier shared editions "
            "included", where="shared edition", expected="every hidden cell to stay anything from 1 to the limit",
            now="keep to the internal edition, and report the fault with the section named "
                + found[0].key.split("[")[0].split("|")[-1],
        )  # fmt: skip
    return shared, ledger_of(so_far, shared, limit)


def _moved(own: Edition, so_far: ResultSet, meta: PageMeta) -> dict[str, int]:
    """How far counts have moved since the edition on record; of one from rows and one from sums, what both have."""
    from pipeline.identity.earlier_editions import moves, moves_of_both
    return moves(so_far, own) if own.only_sums == meta.only_sums else moves_of_both(so_far, own)


def _is_same(own: Edition, shared: ResultSet, meta: PageMeta) -> bool:
    """Tell whether the edition on record prints what this one would, as far as both have it."""
    if own.only_sums == meta.only_sums:
        return shared.rows == own.rows.rows
    printed, now = ({r.key: r for r in rows} for rows in (own.rows.rows, shared.rows))
    return all(printed[k] == now[k] for k in printed.keys() & now)


def _standing(own: tuple[Edition, Identity, PageMeta], what: str, meta: PageMeta) -> Shared:
    """The edition on record again, in the language of `meta`, and why it is not replaced."""
    edition, identity, head = own
    new = "What is new comes" if meta.only_sums else "What is new stands in the internal edition and comes"
    why = (f"The shared edition of {edition.quarter} stands as first written: {what}, which would tell of single "
           f"people. {new} with the next quarter. If nobody was given the shared one: rmt-outcomes report "
           "--replace-shared")  # fmt: skip
    told = replace(_told(head), program_version=__version__, language=meta.language)
    return Shared(edition.edition_no, identity, edition.rows, told, None, (why,))


def _recorded(store: Store) -> list[tuple[Edition, Identity, PageMeta]]:
    """Every shared edition on record in the order of writing, with its identity and the head of its pages."""
    from pipeline.identity.earlier_editions import Edition
    if not store.has_table("results.editions"):
        return []
    listed = store.sql("select * from results.editions order by edition_no")
    found = []
    for row in listed.iter_rows(named=True):
        number = int(row["edition_no"])
        rows, cells, counts, sums = _ledger_of(store, number)
        identity, meta = Identity(*(row[f.name] for f in fields(Identity))), _meta(json.loads(row["meta"]))
        edition = Edition(number, identity.quarter, identity.batch_id, rows, counts, cells, sums, meta.only_sums)
        found.append((edition, identity, meta))
    return found


def _meta(told: dict[str, Any]) -> PageMeta:
    from pipeline.report import PageMeta
    return PageMeta(**{f.name: told[f.name] for f in fields(PageMeta) if f.name in told})


def _ledger_of(store: Store, number: int) -> tuple[ResultSet, dict[str, Cell], dict[str, int], tuple[Any, ...]]:
    from itertools import groupby

    from pipeline.identity.audit import Cell
    from pipeline.results import Partition, Result, ResultSet
    at = {"no": number}
    rows = store.sql("select row_text from results.edition_rows where edition_no = $no order by position", at)
    told = store.sql("select key, count, is_shown, is_small, is_free, low, high from results.edition_counts "
                     "where edition_no = $no order by position", at)  # fmt: skip
    parts = store.sql("select sum_no, total, part from results.edition_sums where edition_no = $no "
                      "order by position", at)  # fmt: skip
    grouped = groupby(parts.iter_rows(), key=lambda r: (r[0], r[1]))
    sums = tuple(Partition(total, tuple(part for _, _, part in some)) for (_, total), some in grouped)
    cells, counts = {}, {}
    for key, count, is_shown, is_small, is_free, low, high in told.iter_rows():
        counts[key] = count
        if is_shown is not None:
            cells[key] = Cell(count) if is_shown else Cell(None, is_small, is_free, (low, high))
    return ResultSet(tuple(Result(**json.loads(r)) for r in rows["row_text"]), ()), cells, counts, sums


def keep(store: Store, made: Shared, limit: int) -> None:
    """Put an edition on record, in the place of the one with its number; one that stands is there already."""
    if made.ledger is None:
        return
    with store.transaction():
        for name, columns in TABLES.items():
            if not store.has_table(f"results.{name}"):
                store.execute(f"create table results.{name} ({columns})")
        for name, frame in _frames(made, limit).items():
            for number in (made.edition_no, *made.instead_of):
                store.execute(f"delete from results.{name} where edition_no = $no", {"no": number})
            store.insert(f"results.{name}", frame)


def _frames(made: Shared, limit: int) -> dict[str, Any]:
    """The tables of one edition as frames."""
    import polars as pl

    from pipeline.identity.earlier_editions import other_counts
    assert made.ledger is not None
    number = pl.lit(made.edition_no, dtype=pl.Int64).alias("edition_no")
    cells, sums = made.ledger.cells, made.ledger.sums
    counts = made.ledger.counts | other_counts(made.ledger.rows.values())
    told = []
    for key, count in counts.items():
        cell = cells.get(key)
        low, high = (None, None) if cell is None else cell.start(limit)
        told.append((key, count, None if cell is None else cell.count is not None, cell and cell.is_small,
                     cell and cell.is_free, low, high))
    parts = [(no, s.total, part) for no, s in enumerate(sums) for part in s.parts]
    made_of = vars(made.identity) | {"meta": json.dumps(asdict(made.meta))}
    counted = {"key": pl.String, "count": pl.Int64, "is_shown": pl.Boolean, "is_small": pl.Boolean,
               "is_free": pl.Boolean, "low": pl.Float64, "high": pl.Float64}
    summed = {"sum_no": pl.Int64, "total": pl.String, "part": pl.String}
    frames = {
        "editions": pl.DataFrame([made_of]),
        "edition_rows": pl.DataFrame({"row_text": [json.dumps(vars(r)) for r in made.rows.rows]},
                                     schema={"row_text": pl.String}).with_row_index("position"),
        "edition_counts": pl.DataFrame(told, schema=counted, orient="row").with_row_index("position"),
        "edition_sums": pl.DataFrame(parts, schema=summed, orient="row").with_row_index("position"),
    }
    return {name: frame.with_columns(number) for name, frame in frames.items()}
