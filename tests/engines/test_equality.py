"""Every table of a derivation, row by row: whole in DuckDB = 16 slices = a Spark Connect server with several workers.

`make engines` runs the same over a million generated sessions (python -m tests.engines), `make spark` on Apache Spark
itself (python -m tests.engines.spark). What the SQL relies on, and where it is written that both engines do it. Read
again on 2026-11-27: pages of the DuckDB docs (docs/stable/sql/...) and of the Spark docs (docs/sql-ref-...) in their
repositories, functions of Spark in the docstrings of pyspark 4.2.0. The clauses of ISO/IEC 9075-2 are named from
memory, and so is what is marked so; all of it is run below or in the tables.

- NULLs sort last in a window. ISO/IEC 9075-2:2016 leaves their place to the implementation (sort specification list);
  DuckDB, query_syntax/orderby: last by default, either way; Spark, syntax-qry-select-orderby: first where ascending,
  last where descending. So the dialect door writes NULLS LAST (test below).
- A frame of rows counts rows, not peers: ISO/IEC 9075-2:2016, window frame clause; DuckDB, functions/window_functions,
  "Evaluation"; Spark, syntax-qry-select-window, window_frame.
- last_value(x ignore nulls): ISO/IEC 9075-2:2016, null treatment; DuckDB, functions/window_functions: the last row of
  the frame with a value; Spark, last_value: the last non-null value it sees. Both pages give lag the same option, yet
  one server reads it otherwise (test below): a page is no proof.
- Aggregates skip NULLs, count(*) does not, sum over no row is NULL, and `filter (where ...)` takes the rows that are
  true: ISO/IEC 9075-2:2016, aggregate function; DuckDB, functions/aggregates, "Handling NULL values" (first, last and
  list do not skip them: not used); Spark, null-semantics, "Builtin aggregate expressions".
- median is the mean of the two middle values: DuckDB, functions/aggregates: quantile_cont(x, 0.5), averaged at even
  counts; Spark, median: "the median of the values in a group", no more is said there.
- greatest and least pass over NULLs: Spark, greatest and least: "skipping null values"; of DuckDB from memory (its page
  of numeric functions does not say it); both other than ISO/IEC 9075-2:2023, where one NULL makes NULL.
- concat_ws passes over NULLs; || with a NULL is NULL: DuckDB, functions/text: both said; Spark, null-semantics: concat
  with a NULL is NULL; of its concat_ws from memory.
- `/` of whole numbers is a fraction in both, other than in ISO/IEC 9075-2:2016: DuckDB, functions/numeric, "Division
  and modulo operators"; of Spark from memory. By 0 it is an error in one and not in the other (from memory): nullif.
- date_diff('day') counts midnights between two dates: DuckDB, functions/date: partition boundaries; Spark, datediff:
  the number of days. A date and an interval make a timestamp in DuckDB (same page), hence the cast; Spark, date_add: a
  date.
- A condition that is NULL joins and keeps nothing; semi and anti joins keep no row twice: ISO/IEC 9075-2:2016, search
  condition; DuckDB, query_syntax/from, "Semi and anti joins": never more rows than the left side; Spark,
  null-semantics, "Condition expressions", and syntax-qry-select-join.
- Texts compare by their bytes (UTF-8): DuckDB, expressions/collations: BINARY by default; of Spark (UTF8_BINARY) from
  memory.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import polars as pl
import pytest

from pipeline.engines import Engine, opened, parse
from tests.engines.same import compare, differences
from tests.engines.ways import cohort, elsewhere, tables, whole
from tests.sql.portable import refused

pytestmark = pytest.mark.slow

pytest.importorskip("pyspark", reason="the Spark Connect client is not installed: make cluster")
pytest.importorskip("pysail", reason="pysail is not in this environment (requirements-dev.lock)")


@pytest.fixture(scope="module")
def made(address: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folders `whole`, `slices` and `connect` with every table of the sample cohort and 20,000 generated sessions."""
    folder = tmp_path_factory.mktemp("made")
    with cohort(20_000) as store:
        said = [whole(store, folder / "whole"), elsewhere(store, folder / "slices", "slices:16"),
                elsewhere(store, folder / "connect", address)]
    assert said[0].queries == said[1].queries == said[2].queries
    assert said[0].offending == said[1].offending == said[2].offending
    return folder


def test_sixteen_slices_make_the_tables_of_the_whole(made: Path) -> None:
    assert compare(made / "whole", made / "slices", tables(in_slices=True)) == {}


def test_a_spark_connect_server_makes_the_tables_of_the_whole(made: Path) -> None:
    assert len(tables()) > 90
    assert compare(made / "whole", made / "connect", tables()) == {}


#: Two groups, days in order, NULLs at the start, within and at the end; numbers on the half.
ROWS = pl.DataFrame({
    "client_key": ["a"] * 8 + ["b"] * 4,
    "on_day": [date(2024, 1, day + 1) for day in range(12)],
    "metric": ["u", None, None, "v", None, "w", "w", None, None, "z", None, "y"],
    "value": [1.0, 2.5, None, 4.5, 7.0, 8.5, 1.0, 2.0, 3.5, -2.5, 2.0, 9.0],
    "n": [1, 2, 3, -4, 5, 6, -7, 8, 9, 10, 11, 12],
})
OVER = "over (partition by t.client_key order by t.on_day"

#: What reads differently -> the portable form.
PLANTED = {
    f"lag(t.metric ignore nulls) {OVER})":
        f"last_value(t.metric ignore nulls) {OVER} rows between unbounded preceding and 1 preceding)",
    "t.n / 1.5": "t.n / 15e-1",
    "percentile_cont(0.25) within group (order by t.value)": "median(t.value)",
    "case when t.n = 1 then 0 else t.value end": "case when t.n = 1 then 0e0 else t.value end",
    "cast(t.value / 2 as bigint)": "cast(floor(t.value / 2) as bigint)",
    "round(t.value / 10, 1)": "cast(floor(t.value / 10) as bigint)",
    "floor(t.value)": "cast(floor(t.value) as bigint)",
    "isodow(t.on_day)": "date_diff('day', cast(date_trunc('week', t.on_day) as date), t.on_day) + 1",
    "date_diff('month', date '2023-12-31', t.on_day)": "(year(t.on_day) - 2023) * 12 + month(t.on_day) - 12",
    "t.on_day + interval (40) day": "cast(t.on_day + interval (40) day as date)",
    "mode(t.metric)": "min(t.metric)",
}


def one_select(expression: str) -> str:
    """A file with one expression; an aggregate is grouped by client."""
    grouped = expression.startswith(("percentile_cont", "median", "mode", "min"))
    key = "t.client_key" + ("" if grouped else ", t.on_day")
    return f"select {key}, {expression} as x from settled.rows as t" + (f" group by {key}" if grouped else "")


def differs(address: str, folder: Path, expression: str) -> str:
    """Run one expression on both engines and say how their rows differ."""
    for word in ("slices:1", address):
        choice, place = parse(word), folder / word[:2]
        assert choice is not None
        (place / "in").mkdir(parents=True)
        (place / "out").mkdir()
        ROWS.write_parquet(place / "in" / "rows.parquet")
        with opened(choice, 1, folder / "_spill") as engine:
            _build(engine, place, one_select(expression))
    return compare(folder / "sl", folder / "sc", ["out"]).get("out", "")


def _build(engine: Engine, place: Path, text: str) -> None:
    engine.table("settled.rows", place / "in")
    engine.build("settled.spoiled", text, place / "out")


@pytest.mark.parametrize(("spoiled", "portable"), PLANTED.items(), ids=list(PLANTED))
def test_what_reads_differently_is_refused_and_changes_the_rows(
    spoiled: str, portable: str, address: str, tmp_path: Path
) -> None:
    assert refused(one_select(spoiled), {"x": "DOUBLE"}), "the lint lets it through"
    assert refused(one_select(portable), {"x": "DOUBLE"}) == []
    assert differs(address, tmp_path / "spoiled", spoiled), "both engines make the same of it"
    assert differs(address, tmp_path / "portable", portable) == ""


#: Forms that the SQL uses and that may not differ.
RELIED_ON = [
    f"row_number() {OVER}) * 100 + t.n", "row_number() over (partition by t.client_key order by t.metric, t.on_day)",
    "row_number() over (partition by t.client_key order by t.metric desc, t.on_day)", "greatest(t.value, t.n, 2)",
    "least(t.value, cast(null as double))", "concat_ws('|', t.metric, t.n, t.on_day)", "t.metric || '-'",
    "lpad(cast(t.n as varchar), 3, '0')", "coalesce(t.value, 0)", "t.n / nullif(t.n - 2, 0)", "quarter(t.on_day)",
    "ln(1e0 + abs(t.n))",
    f"cast(sum(t.value) {OVER} rows between unbounded preceding and 1 preceding) as double)"]


@pytest.mark.parametrize("expression", RELIED_ON)
def test_what_is_relied_on_is_the_same(expression: str, address: str, tmp_path: Path) -> None:
    assert refused(one_select(expression)) == []
    assert differs(address, tmp_path, expression) == ""


def test_the_comparison_sees_a_row_a_type_and_a_last_digit() -> None:
    import duckdb
    with duckdb.connect() as database:
        for name, text in {
            "a": "select 1 as k, 0.1::double as x union all select 2, null",
            "type": "select 1::bigint as k, 0.1::double as x",
            "row": "select 1 as k, 0.1::double as x", "far": "select 1 as k, 0.1 + 1e-8 as x union all select 2, null",
            "near": "select 1 as k, 0.1 + 1e-12 as x union all select 2, null",
            "null": "select 1 as k, 0.1::double as x union all select 2, 0"}.items():
            database.execute(f'create table "{name}" as {text}')
        said = {n: differences(database, "a", f'"{n}"') for n in ("type", "row", "far", "near", "null")}
    assert said["near"] == "" and said["type"].startswith("columns or types differ")
    assert said["row"] == "1 rows stand in one of them only, 0 have another double"
    assert said["far"] == said["null"] == "0 rows stand in one of them only, 1 have another double"
