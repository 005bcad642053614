"""The sample's dated files through the surrogate command to the pages of date_policy relative, and what they say."""

from __future__ import annotations

import datetime as dt
import json
import re
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.contract import TABLES
from pipeline.identity import quarters
from pipeline.identity.day_offsets import EPOCH, NOTES, RELATIVE
from pipeline.report.words import catalogue
from pipeline.settings import Settings
from pipeline.stages_door import day_columns
from pipeline.stages_frames import frames_of
from pipeline.store import open_store
from tests.engines.same_results import differing, from_rows, from_sums
from tests.some_people import every, write

pytestmark = pytest.mark.slow

WRITTEN = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{4}Q[1-4]")
GAINS = ("select client_key, course_no, pressure, baseline_cmh2o, at12_week, at12_cmh2o, gain12_cmh2o, last_week, "
         "gain_last_cmh2o, n_tests, no_gain_reason from quantities.gains order by all")


def run(*words: object) -> str:
    shown = CliRunner().invoke(main, [str(w) for w in words])
    assert shown.exit_code == 0, shown.output
    return shown.output


def sample_of(place: Path) -> None:
    """Every fourth client of the sample, without the planted cells that are no day; the manometers too."""
    tables = every(4)
    for name in TABLES:
        days = [pl.col(c).is_null() | pl.col(c).str.to_date("%Y-%m-%d", strict=False).is_not_null()
                for c in day_columns(name)]
        tables[name] = tables[name].filter(pl.all_horizontal(pl.lit(True), *days))
    write(tables, place)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """`dated` and its store `limited`; `told` by offsets, its review `relative`, and everything said in `said.txt`."""
    place = tmp_path_factory.mktemp("relative")
    sample_of(place / "dated")
    (place / "s.toml").write_text('date_policy = "relative"\n')
    words = ("--out", place / "relative", "--settings", place / "s.toml")
    said = run("surrogate", place / "dated", "--crosswalk", place / "who.jsonl", "--out", place / "told", "--offsets")
    said += run("review", place / "told", *words)
    said += run("set-aside", place / "mend", "--out", place / "relative")
    (place / "said.txt").write_text(said)
    run("load", place / "dated", "--out", place / "limited")
    run("derive", "--out", place / "limited")
    return place


def crosswalk(place: Path) -> tuple[dict[str, str], dict[str, dt.date]]:
    """Key in the dated files to surrogate, and surrogate to its start."""
    entries = [json.loads(line) for line in (place / "who.jsonl").read_text().splitlines()]
    people = {e["person"][0]: e["key"] for e in entries if e.get("op") == "person"}
    return people, {e["key"]: dt.date.fromisoformat(e["on"]) for e in entries if e.get("op") == "start"}


def dated(place: Path, table: str) -> pl.DataFrame:
    """A dated table with surrogates, days as dates, and `started` beside them; without people who are held back."""
    people, started = crosswalk(place)
    rows = pl.read_csv(place / "dated" / f"{table}.csv", infer_schema=False)
    rows = rows.with_columns(pl.col("client_key").replace_strict(people, default=None),
                             *(pl.col(c).str.to_date() for c in day_columns(table)))
    starts = pl.DataFrame({"client_key": list(started), "started": list(started.values())})
    return rows.join(starts, on="client_key", how="inner")


def calendar_days(place: Path) -> set[str]:
    """Every day of the dated files as a page or a file might print it: ISO, in words, as a calendar quarter."""
    found: set[str] = set()
    for path in (place / "dated").iterdir():
        rows = pl.read_csv(path, infer_schema=False)
        for column in day_columns(path.stem):
            for day in rows[column].drop_nulls().unique():
                found |= {day, catalogue().day(day), catalogue().day(day).replace("\u00a0", " ")}
    return found | {f"{year}Q{no}" for year in range(2022, 2027) for no in range(1, 5)}


def test_no_calendar_date_is_left_anywhere(place: Path) -> None:
    days = calendar_days(place)
    assert len(days) > 1000
    files = [p for p in (place / "relative").rglob("*") if p.suffix in {".html", ".json", ".csv"}]
    files += [*(place / "mend").iterdir(), *(place / "told").iterdir(), place / "said.txt"]
    assert len(files) > 25
    assert [(p.name, day) for p in files for text in [p.read_text()] for day in days if day in text] == []


def test_the_store_holds_no_calendar_date(place: Path) -> None:
    days, latest = calendar_days(place), EPOCH + dt.timedelta(days=4000)
    with open_store(place / "relative" / "store.duckdb", read_only=True) as store:
        columns = store.sql("select schema_name || '.' || table_name as name, column_name, data_type from "
                            "duckdb_columns() where database_name = 'rmt' and not internal").rows()
        in_text = [f"{t}.{c}" for t, c, kind in columns if kind == "VARCHAR" and t != "settled.calendar"
                   for text in store.sql(f'select distinct "{c}" as v from {t}')["v"].drop_nulls()
                   if text in days or days & set(WRITTEN.findall(text))]
        ends = {f"{t}.{c}": store.sql(f'select max("{c}") as v from {t} where "{c}" < date \'9999-12-31\'')["v"][0]
                for t, c, kind in columns if kind == "DATE" and t != "settled.calendar"}
    assert in_text == [] and len(ends) > 50
    assert [name for name, day in ends.items() if day is not None and day > latest] == []


def test_gains_are_those_of_the_limited_policy(place: Path) -> None:
    people, started = crosswalk(place)
    with open_store(place / "limited" / "store.duckdb", read_only=True) as store:
        limited = store.sql(GAINS).with_columns(pl.col("client_key").replace_strict(people, default=None))
    with open_store(place / "relative" / "store.duckdb", read_only=True) as store:
        relative = store.sql(GAINS)
    same = ["client_key", "course_no", "pressure"]
    limited = limited.filter(pl.col("client_key").is_in(list(started))).sort(same)
    assert relative.height > 150 and limited.equals(relative.sort(same))


def test_blocks_are_91_days_of_each_own_time(place: Path) -> None:
    tests = dated(place, "tests").select("client_key", "tested_on", "started").unique()
    offset = (pl.col("tested_on") - pl.col("started")).dt.total_days()
    by_hand = tests.select("client_key", offset=offset, no=(offset // 91 + 1).clip(0))
    with open_store(place / "relative" / "store.duckdb", read_only=True) as store:
        told = store.sql("select distinct client_key, tested_on, quarter from frames.test_days")
        weeks = store.sql("select week_from_on, quarter from frames.client_weeks")
    told = told.with_columns(offset=(pl.col("tested_on") - EPOCH).dt.total_days())
    both = told.join(by_hand, on=["client_key", "offset"], how="left")
    assert both.height > 500 and both["no"].to_list() == [quarters.number_of(q) for q in both["quarter"]]
    reach = weeks.group_by("quarter").agg(a=pl.col("week_from_on").min(), b=pl.col("week_from_on").max())
    for quarter, first, last in reach.iter_rows():
        low, high = quarters.own_days(quarter)
        assert low is not None and low <= (first - EPOCH).days and (last - EPOCH).days <= high == low + 90


def test_open_courses_stay_open_until_the_own_last_row(place: Path) -> None:
    ends = [dated(place, t).select("client_key", "started", pl.col(c).dt.offset_by(by).alias("on")) for t, c, by in (
        ("sessions", "session_on", "0d"), ("tests", "tested_on", "0d"), ("weekly_logs", "week_from_on", "6d"),
        ("events", "event_on", "0d"), ("other_outcomes", "measured_on", "0d"), ("prescriptions", "from_on", "0d"),
        ("pauses", "from_on", "0d"), ("reviews", "reviewed_on", "0d"), ("episodes", "from_on", "0d"),
        ("episodes", "to_on", "0d"))]
    by_hand = dict(pl.concat(ends).drop_nulls().group_by("client_key").agg(
        (pl.col("on") - pl.col("started")).dt.total_days().max()).iter_rows())
    courses = "select client_key, course_no, last_on, is_open from settled.courses"
    with open_store(place / "relative" / "store.duckdb", read_only=True) as store:
        relative = store.sql(courses).filter("is_open")
    with open_store(place / "limited" / "store.duckdb", read_only=True) as store:
        limited = store.sql(courses).filter("is_open")
    people, started = crosswalk(place)
    still = {people[k] for k in limited["client_key"]} & set(started)
    assert len(still) > 5 and set(relative["client_key"]) == still
    assert {k: (on - EPOCH).days for k, on in relative.select("client_key", "last_on").iter_rows()} == {
        k: by_hand[k] for k in still}


def test_the_policy_stands_on_every_page_and_what_is_missing_is_said(place: Path) -> None:
    manifest = json.loads((place / "relative" / "manifest.json").read_text())
    assert (manifest["date_policy"], manifest["date_policy_note"]) == (RELATIVE, NOTES[RELATIVE])
    assert manifest["written_at"].isdecimal()
    pages = [place / "relative" / o["path"] for o in manifest["outputs"] if o["path"].endswith(".html")]
    assert len(pages) >= 7
    for page in pages:
        text = page.read_text()
        assert "Date policy <strong>relative</strong>" in text and "block\u00a0" in text, page.name
    for edition in ("internal", "shared"):
        results = json.loads((place / "relative" / edition / "results.json").read_text())
        assert results["date_policy"] == RELATIVE and quarters.is_block(results["quarter"])
        assert results["data_until_on"].startswith("day " if edition == "internal" else "block-")
    keys = {r["key"] for r in json.loads((place / "relative" / "internal" / "results.json").read_text())["results"]}
    assert {f"quarter.cautions.caution[caution={c}]" for c in ("own_ends", "manometers_unknown")} <= {
        k.partition("@")[0] for k in keys}
    said = " ".join((place / "said.txt").read_text().split())
    assert "instruments.csv: left out, its days belong to no client's own start" in said
    assert "No repair, replacement or calibration is known." in said


@pytest.mark.parametrize("block", ["block-002", "block-005"])
def test_results_from_an_engines_sums_are_those_from_rows(block: str, place: Path, tmp_path: Path) -> None:
    settings = Settings(date_policy=RELATIVE)
    with open_store(place / "relative" / "store.duckdb", read_only=True) as store:
        found = from_sums(store, "slices:2", tmp_path, settings, block)
        assert differing(found, from_rows(frames_of(store), settings, block)) == []
    assert sum(r.statistic == "mean_term" for r in found.rows) > 5
