"""The last review beside this one: its headline numbers computed again, its predictions scored, its flags followed."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline import __version__
from pipeline import settings as settings_file
from pipeline.errors import SettingsError
from pipeline.identity.quarters import last_day
from pipeline.settings import Settings
from pipeline.stages_frames import frames_of
from pipeline.stages_published import Review, last_before, one_a_quarter, rows_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    import polars as pl

    from pipeline.analyse.restatement import Printed, Step
    from pipeline.results import Result, ResultSet
    from pipeline.store import Store


def earlier_results(
    store: Store, frames: Mapping[str, pl.DataFrame], results: ResultSet, settings: Settings, quarter: str
) -> ResultSet:
    """Everything that this review says about earlier ones: sections restated, scored and ledger.

    The derived tables of the store are the same afterwards as before. Only reviews of earlier quarters are read, so a
    review written twice says the same twice.
    """
    from pipeline.analyse.ledger import ledger
    from pipeline.analyse.restatement import Earlier, restatement
    from pipeline.analyse.scored import scored
    batch = int(store.sql("select as_of_batch from settings.current").item())
    last = last_before(store, quarter, batch)
    if last is None:
        told = restatement(None, (), _no_changes(), settings.small_cell_max) + scored(None, frames, settings, quarter)
    else:
        rows = rows_of(store, last.review_no)
        steps = headline_steps(store, frames, settings, last, batch)
        told = restatement(Earlier(last.quarter, printed_headlines(rows)), steps,
                           changed_rows(store, last, batch), settings.small_cell_max)  # fmt: skip
        told = told + scored((last.quarter, rows), frames, settings, quarter)
    states = [(r.quarter, rows_of(store, r.review_no)) for r in one_a_quarter(store, quarter, batch)]
    return told + ledger(states, results, frames["reviews"], quarter)


def printed_headlines(rows: pl.DataFrame) -> dict[str, Printed]:
    """The headline numbers among the kept rows of a review."""
    from pipeline.analyse.headlines import figure, is_headline
    from pipeline.analyse.restatement import Printed
    found = {}
    for row in rows.iter_rows(named=True):
        result = as_result(row)
        number = figure(result) if is_headline(result) else None
        if number is not None:
            found[row["key"]] = Printed(number, row["n_people"], row["unit"])
    return found


def as_result(row: Mapping[str, Any]) -> Result:
    """A kept row as a result again: its key taken apart into report, section, statistic, group and position."""
    from pipeline.results import Result
    stem, _, rest = str(row["key"]).partition("[")
    where, _, at = rest.rpartition("]")
    report, section, statistic = stem.split(".")
    return Result(report, section, statistic, where, float(at[1:]) if at else None,  # type: ignore[arg-type]
                  n=row["n"], value=row["value"], unit=row["unit"])


def headline_steps(
    store: Store, frames: Mapping[str, pl.DataFrame], settings: Settings, last: Review, batch: int
) -> list[Step]:
    """The headlines of the last review's quarter with today's program, then settings, then plan, then data.

    A step that cannot have changed anything is left out. Settings that this program does not know any more count with
    the program.
    """
    from pipeline.analyse.headlines import headlines
    from pipeline.analyse.restatement import Step
    from pipeline.stages_load import settings_text
    now = Step("data", headlines(frames, settings, last.quarter))
    is_late, then_plans = last.batch_id != batch, _plans_of(frames, last)
    same_settings = last.settings_text == settings_text(settings)
    same_plan = then_plans.height == frames["plans"].height
    then = settings if same_settings else _settings_of(last)
    steps = []
    if last.program_version != __version__ and then is not None:
        seen = _frames_as_of(store, then, last.batch_id) | {"plans": then_plans}
        steps.append(Step("program", headlines(seen, then, last.quarter)))
    if not same_settings or not same_plan:
        seen = _frames_as_of(store, settings, last.batch_id) if is_late else dict(frames)
        if not same_settings:
            steps.append(Step("settings", headlines(seen | {"plans": then_plans}, settings, last.quarter)))
        if not same_plan:
            steps.append(Step("plan", headlines(seen | {"plans": frames["plans"]}, settings, last.quarter)))
    if steps:
        _derive(store, settings, batch)
    return [*steps, now] if is_late else steps or [Step("program", now.rows)]


def _plans_of(frames: Mapping[str, pl.DataFrame], last: Review) -> pl.DataFrame:
    """The plans registered up to the one that a review read; all of them where the store does not tell which it was."""
    import polars as pl
    plans = frames["plans"].sort("plan_no")
    if last.plan_hash is None:
        return plans
    known = plans.filter(pl.col("sha256") == last.plan_hash)
    return plans.filter(pl.col("plan_no") <= (known["plan_no"].max() if known.height else -1))


def _settings_of(review: Review) -> Settings | None:
    try:
        return settings_file.from_mapping(json.loads(review.settings_text), f"review of {review.quarter}")
    except SettingsError:
        return None


def _derive(store: Store, settings: Settings, batch: int) -> None:
    from pipeline.derive import derive
    derive(store, settings, as_of_batch=batch)


def _frames_as_of(store: Store, settings: Settings, batch: int) -> dict[str, pl.DataFrame]:
    """The frames as the rows of an earlier batch make them; the store's tables are those until derived again."""
    _derive(store, settings, batch)
    return frames_of(store)


def _no_changes() -> pl.DataFrame:
    import polars as pl
    return pl.DataFrame(schema={"table_name": pl.String, "how": pl.String, "n_rows": pl.Int64, "n_people": pl.Int64})


def changed_rows(store: Store, last: Review, batch: int) -> pl.DataFrame:
    """Count the rows of days up to the end of the last review's quarter that came, changed or went since its batch."""
    import polars as pl

    from pipeline.contract import TABLES
    end = last_day(last.quarter)
    parts = [_no_changes()]
    for table in TABLES.values():
        days = [n for n in table.natural_key if table.column(n).kind == "day"] or \
            [c.name for c in table.columns if c.kind == "day" and c.required]
        condition = f"and r.{days[0]} <= $end" if days else ""
        parts.append(store.sql(_changes_sql(table.name, table.natural_key, condition), {
            "then": last.batch_id, "now": batch} | ({"end": end} if days else {})))  # fmt: skip
    return pl.concat([p.cast(parts[0].schema) for p in parts]).sort("table_name", "how")


def _changes_sql(table: str, key: tuple[str, ...], condition: str) -> str:
    """A select that counts the changes of one received table; its names are the contract's own."""
    people = "count(distinct r.client_key)" if "client_key" in key else "0"
    same = " and ".join(f"o.{c} is not distinct from r.{c}" for c in (*key, "ordinal"))
    came = "r.from_batch > $then and r.from_batch <= $now and (r.to_batch is null or r.to_batch > $now)"
    old = f"exists (select 1 from received.{table} as o where {same} and o.from_batch <= $then and o.to_batch > $then)"
    went = "r.from_batch <= $then and r.to_batch > $then and r.to_batch <= $now"
    successor = f"exists (select 1 from received.{table} as o where {same} and o.from_batch > $then)"
    kinds = (("new", f"{came} and not {old}"), ("corrected", f"{came} and {old}"),
             ("withdrawn", f"{went} and not {successor}"))  # fmt: skip
    return " union all ".join(
        f"select '{table}' as table_name, '{how}' as how, count(*) as n_rows, {people} as n_people "
        f"from received.{table} as r where {where} {condition} having count(*) > 0"
        for how, where in kinds)  # fmt: skip
