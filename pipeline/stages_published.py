"""What earlier reviews said: kept in the store when a review is written, read when a later one is computed.

results.reviews: one row per review (review_no, quarter, batch_id, program_version, settings_hash, settings_text,
plan_hash: empty without a plan, null where a version without plans wrote it).
results.published: its rows (review_no, quarter, position, key, n, n_people, value, low, high, unit, text, klass).
n_people counts the different people behind a row.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import polars as pl

    from pipeline.settings import Settings
    from pipeline.store import Store

KEPT_OF_CLIENTS = ("state", "prediction_cmh2o")
"""Statistics about one client that are kept: what a later review scores and follows. All aggregates are kept."""
REVIEWS = ("review_no bigint, quarter varchar, batch_id bigint, program_version varchar, settings_hash varchar, "
           "settings_text varchar, plan_hash varchar")
PUBLISHED = ("review_no bigint, quarter varchar, position bigint, key varchar, n bigint, n_people bigint, "
             "value double, low double, high double, unit varchar, text varchar, klass varchar")


@dataclass(frozen=True)
class Review:
    """One review that was written: the quarter it is for, the last batch it read, program, settings and plan."""

    review_no: int
    quarter: str
    batch_id: int
    program_version: str
    settings_hash: str
    settings_text: str
    plan_hash: str | None = None


def _make(store: Store) -> None:
    for name, columns in (("reviews", REVIEWS), ("published", PUBLISHED)):
        if not store.has_table(f"results.{name}"):
            store.execute(f"create table results.{name} ({columns})")
    if "plan_hash" not in store.sql("select * from results.reviews limit 0").columns:
        store.execute("alter table results.reviews add column plan_hash varchar")


def present_review(store: Store) -> Review:
    """The review that stands in results.current, not numbered yet (0)."""
    run = store.sql("select * from results.run")
    batch = int(store.sql("select as_of_batch from settings.current").item())
    quarter, version, text = (str(run[c][0]) for c in ("quarter", "program_version", "settings_text"))
    plan = str(run["plan_hash"][0]) if "plan_hash" in run.columns else ""
    return Review(0, quarter, batch, version, hashlib.sha256(text.encode()).hexdigest(), text, plan)


def reviews(store: Store) -> list[Review]:
    """Every review kept, in the order in which they were first written."""
    if not store.has_table("results.reviews"):
        return []
    rows = store.sql("select * from results.reviews order by review_no")
    return [Review(**row) for row in rows.iter_rows(named=True)]


def last_before(store: Store, quarter: str, batch_id: int) -> Review | None:
    """The review of the last earlier quarter, the latest written; none that read a batch after `batch_id`."""
    known = [r for r in reviews(store) if r.quarter < quarter and r.batch_id <= batch_id]
    return max(known, key=lambda r: (r.quarter, r.review_no), default=None)


def one_a_quarter(store: Store, quarter: str, batch_id: int) -> list[Review]:
    """For each earlier quarter the review written last, in the order of quarters."""
    known = [r for r in reviews(store) if r.quarter < quarter and r.batch_id <= batch_id]
    return [found for _, found in sorted({r.quarter: r for r in known}.items())]


def rows_of(store: Store, review_no: int) -> pl.DataFrame:
    """The rows of one review, in their order."""
    return store.sql("select * from results.published where review_no = $no order by position", {"no": review_no})


def written_before(store: Store, quarter: str, batch_id: int, settings: Settings) -> int | None:
    """The number after which a review of this quarter, batch and settings was first written; None where it never was.
    A newer version of the program counts as the same: it is asked what that review said."""
    from pipeline.stages_load import settings_text
    text = settings_text(settings)
    same = [r.review_no for r in reviews(store)
            if (r.quarter, r.batch_id, r.settings_text) == (quarter, batch_id, text)]
    return min(same) - 1 if same else None


def publish(store: Store) -> bool:
    """Keep the present results as a review; the same review written again takes its old place. False: nothing new."""
    now = present_review(store)
    _make(store)
    same = [r.review_no for r in reviews(store) if _identity(r) == _identity(now)]
    number = same[0] if same else max((r.review_no for r in reviews(store)), default=0) + 1
    fresh = _keyed(store.sql(
        "select $no as review_no, $quarter as quarter, cast(position as bigint) as position, "
        "report || '.' || section || '.' || statistic || '[' || \"group\" || ']' as stem, \"at\", n, "
        "case when n_of = 'people' then n else n_people end as n_people, value, low, high, unit, text, klass "
        "from results.current where klass = 'aggregate' or list_contains($kept, statistic) order by position",
        {"no": number, "quarter": now.quarter, "kept": list(KEPT_OF_CLIENTS)},
    ))
    if same and rows_of(store, number).equals(fresh.cast(rows_of(store, number).schema)):
        return False
    with store.transaction():
        store.execute("delete from results.published where review_no = $no", {"no": number})
        store.insert("results.published", fresh)
        if not same:
            _add(store, now, number)
    return True


def _identity(review: Review) -> tuple[str, int, str, str, str]:
    return review.quarter, review.batch_id, review.program_version, review.settings_hash, review.plan_hash or ""


def _keyed(fresh: pl.DataFrame) -> pl.DataFrame:
    """Give each row its key, written as `Result.key` writes it, in the place of its stem and position."""
    import polars as pl
    keys = [stem if at is None else f"{stem}@{at:g}" for stem, at in fresh.select("stem", "at").iter_rows()]
    names = [column.split()[0] for column in PUBLISHED.split(", ")]
    return fresh.with_columns(pl.Series("key", keys, dtype=pl.String)).select(names)


def _add(store: Store, now: Review, number: int) -> None:
    import polars as pl
    store.insert("results.reviews", pl.DataFrame([vars(now) | {"review_no": number}]))
