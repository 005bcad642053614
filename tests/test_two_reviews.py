"""Two reviews of one store: rows come late and are corrected between them; the second says what moved, and why."""

from __future__ import annotations

import importlib
import shutil
from pathlib import Path

import polars as pl
import pytest

from pipeline import assets, stages_explain, stages_load, stages_plan, stages_report
from pipeline.analyse.definitions import DEFINITIONS
from pipeline.analyse.headlines import HEADLINES
from pipeline.settings import Settings
from pipeline.stages import Summary
from pipeline.stages_published import publish, reviews, rows_of
from pipeline.store import edit_store, open_store
from tests.conftest import SAMPLE
from tests.some_people import every, write

pytestmark = pytest.mark.slow

GAIN = "quarter.gains.raw_gain_cmh2o[pressure=mip]@12"


def nothing(step: str, done: int, total: int) -> None:
    """No progress."""


def held_back(tables: dict[str, pl.DataFrame], folder: Path) -> int:
    """Write the tables without the tests of some clients, and one diary week otherwise; give the rows left out."""
    tests, logs = tables["tests"], tables["weekly_logs"].with_row_index("n")
    keys = sorted(set(tests["client_key"].drop_nulls()))[:8]
    late = (pl.col("client_key").is_in(keys) & (pl.col("tested_on") > "2023-09-01")
            & (pl.col("tested_on") <= "2026-06-30") & (pl.col("test_reason") != "start")).fill_null(False)
    other = pl.when(pl.col("n") == 300).then(pl.lit("1")).otherwise(pl.col("sessions_done")).alias("sessions_done")
    write({**tables, "tests": tests.filter(~late), "weekly_logs": logs.with_columns(other).drop("n")}, folder)
    return tests.filter(late).height


def one_review(folder: Path, out: Path, quarter: str) -> None:
    """Everything of a review but its pages."""
    summary, settings = Summary("review"), Settings()
    stages_load.load(folder, out, settings, "2026-10-01T00:00:00+00:00", summary, nothing)
    stages_load.derive(out, settings, summary, nothing)
    stages_report.analyse(out, settings, quarter, summary, nothing)
    with edit_store(out / "store.duckdb") as store:
        publish(store)


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory):
    """(folder of the store after both reviews, late rows)."""
    base = tmp_path_factory.mktemp("two")
    tables = every(3)
    n_late = held_back(tables, base / "first")
    one_review(base / "first", base / "out", "2026Q2")
    one_review(write(tables, base / "second"), base / "out", "2026Q3")
    return base / "out", n_late


@pytest.fixture(scope="module")
def current(two):
    with open_store(two[0] / "store.duckdb", read_only=True) as store:
        return stages_report.read_results(store)[0].rows


def row(rows, statistic, group):
    return next(r for r in rows if r.section == "restated" and (r.statistic, r.group) == (statistic, group))


def test_both_reviews_are_kept(two):
    with open_store(two[0] / "store.duckdb", read_only=True) as store:
        kept = reviews(store)
        assert [(r.quarter, r.batch_id) for r in kept] == [("2026Q2", 1), ("2026Q3", 2)]
        first = rows_of(store, 1)
    assert set(first["klass"]) == {"aggregate", "client"} and first["key"].is_unique().all()


def test_late_tests_move_a_headline_by_their_own(two, current):
    where = f"of={GAIN}"
    moved, printed, now = (row(current, s, where) for s in ("moved", "printed", "stands_now"))
    assert moved.text == "data" and moved.value != 0
    assert now.value - printed.value == pytest.approx(moved.value)


def test_the_rows_behind_it_are_counted(two, current):
    assert row(current, "rows_since", "table=tests;how=new").n == two[1] > 50
    corrected = row(current, "rows_since", "table=weekly_logs;how=corrected")
    assert (corrected.n, corrected.n_people) == (1, 1)


def test_what_stands_now_is_what_a_review_of_that_quarter_would_say(two, current, tmp_path):
    shutil.copy(two[0] / "store.duckdb", tmp_path / "store.duckdb")
    stages_report.analyse(tmp_path, Settings(), "2026Q2", Summary("analyse"), nothing)
    with open_store(tmp_path / "store.duckdb", read_only=True) as store:
        again = {r.key: r for r in stages_report.read_results(store)[0].rows}
    assert row(current, "stands_now", f"of={GAIN}").value == again[GAIN].value
    assert any(r.section == "restated" and r.statistic == "state" for r in again.values())  # nothing before 2026Q2


def test_the_same_review_again_is_no_news(two, tmp_path):
    shutil.copy(two[0] / "store.duckdb", tmp_path / "store.duckdb")
    stages_report.analyse(tmp_path, Settings(), "2026Q3", Summary("analyse"), nothing)
    with edit_store(tmp_path / "store.duckdb") as store:
        assert publish(store) is False
        assert len(reviews(store)) == 2


def test_last_quarters_predictions_are_scored(current):
    found = {r.statistic: r for r in current if r.section == "scored" and r.group == "pressure=mip"}
    assert found["tested_since"].n > 20
    assert found["inside_pct"].low < 95 < found["inside_pct"].high
    assert found["brier"].value < found["brier_of_the_share"].value


def test_the_ledger_follows_the_planted_looks(current):
    rows = [r for r in current if r.section == "ledger" and r.statistic == "looked_at_on"]
    looked = [r for r in rows if r.text.startswith("2026")]
    assert len(looked) >= 5 and {r.klass for r in looked} == {"client"}


def said(key: str, out: Path, printed: float | None = None, quarter: str | None = None) -> str:
    return "\n".join(stages_explain.explain(key, out, printed, quarter).lines)


def test_explain_traces_a_printed_number_to_its_rows(two, current):
    printed = row(current, "printed", f"of={GAIN}").value
    text = said(GAIN, two[0], round(printed, 2), "2026Q2")
    assert "Formula: " in text and "sql/quantities/gains.sql" in text and "frames.gains " in text
    assert "Setting window_12_low_weeks = 10 weeks" in text
    assert "Printed in the review of 2026Q2 (batch 1)" in text and "+ tests.csv:" in text


def test_explain_knows_a_number_that_was_never_printed(two):
    assert "No review kept in this store printed that number" in said(GAIN, two[0], 99.9)


@pytest.mark.parametrize(("name", "part"), [
    ("tests.value.number", "a number with a decimal point"), ("clients.row.conflict", "said something else"),
    ("dose", "sql/quantities/interval_doses.sql"), ("state", "judge_clients"),
    ("pause_open", "Does it still hold, or when did it end?"), ("pause_open", "Open now: ")])
def test_explain_knows_rules_and_words(two, name, part):
    assert part in said(name, two[0])


def test_explain_counts_what_a_rule_holds_back(two):
    with open_store(two[0] / "store.duckdb", read_only=True) as store:
        counted = store.sql("select rule, count(*) as n from settled.set_aside group by rule order by rule limit 1")
    rule, n = counted.row(0)
    assert f"Set aside by it now: {n} fault" in said(rule, two[0])


def test_an_unknown_name_is_refused_with_near_ones(two):
    with pytest.raises(stages_explain.NotDefined, match=r"quarter\.gains\.gain_cmh2o"):
        said("quarter.gains.gain_cmh2", two[0])


def test_every_statistic_of_the_sample_has_a_definition(current):
    assert {f"{r.report}.{r.section}.{r.statistic}" for r in current} - set(DEFINITIONS) == set()
    assert set(HEADLINES) <= set(DEFINITIONS)


@pytest.mark.parametrize("name", sorted(DEFINITIONS))
def test_every_place_setting_and_input_named_exists(name):
    definition, known = DEFINITIONS[name], {n.removesuffix(".sql").split("/")[1] for n in assets.names("sql", ".sql")
                                            if n.startswith("frames/")}
    assert set(definition.inputs) <= known
    assert all(hasattr(Settings(), s) for s in definition.settings)
    for place in definition.where:
        file, _, function = place.partition(":")
        if file.endswith(".sql"):
            assert assets.text("sql", file.removeprefix("sql/"))
        else:
            assert hasattr(importlib.import_module(file.removesuffix(".py").replace("/", ".")), function), place


def test_a_plan_that_came_since_is_a_cause_of_its_own(two, tmp_path):
    """The sample's plan takes those who agreed to research use only, and nothing else changes here: the differences of
    protocols move by the plan, the gains of everybody do not."""
    shutil.copy(two[0] / "store.duckdb", tmp_path / "store.duckdb")
    stages_plan.plan(SAMPLE / "plan.toml", tmp_path, Settings(), "2026-10-02T00:00:00+00:00", Summary("plan"))
    with edit_store(tmp_path / "store.duckdb") as store:
        # the earlier review of all rows: what moved since is the plan alone
        store.execute("delete from results.published where review_no in (select review_no from results.reviews where "
                      "quarter = '2026Q2')")
        store.execute("delete from results.reviews where quarter = '2026Q2'")
    stages_report.analyse(tmp_path, Settings(), "2026Q4", Summary("analyse"), nothing)
    with open_store(tmp_path / "store.duckdb", read_only=True) as store:
        rows = stages_report.read_results(store)[0].rows
    causes = {r.group: r.text for r in rows if r.section == "restated" and r.statistic == "moved"}
    theirs = {text for group, text in causes.items() if group.startswith("of=protocols.difference")}
    assert theirs == {"plan"}
    assert {text for group, text in causes.items() if group.startswith("of=quarter")} == {"unchanged"}


def test_the_hash_of_the_data_holds_the_notes(two, tmp_path):
    shutil.copy(two[0] / "store.duckdb", tmp_path / "store.duckdb")
    with edit_store(tmp_path / "store.duckdb") as store:
        plain = stages_report.data_hash(store)
        assert store.table("frames.annotations").is_empty()
        store.execute("insert into frames.annotations (kind, on_day, quarter, text) values "
                      "('note', date '2026-05-04', '2026Q2', 'New manometers')")
        noted = stages_report.data_hash(store)
        store.execute("update frames.annotations set text = 'Old manometers'")
        assert len({plain, noted, stages_report.data_hash(store)}) == 3
