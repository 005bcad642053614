"""Three exports of the sample in other shapes, and the template filled with it, give the canonical store."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from pipeline.contract import TABLES
from pipeline.ingest import load_map, read_folder
from pipeline.settings import Settings
from pipeline.simulate import exports
from pipeline.simulate.write import write_csv
from pipeline.store import open_store
from pipeline.validate import LoadMeta, check, load

MAPS = Path(__file__).parents[2] / "examples" / "maps"
#: form -> (writer, map, the form's name in SOUND_HERE)
FORMS = {
    "harbour": (exports.write_workbook_export, MAPS / "harbour.toml", "workbook"),
    "mill": (exports.write_text_export, MAPS / "mill.toml", "text"),
    "orchard": (exports.write_json_export, MAPS / "orchard.toml", ""),
    "template": (exports.write_filled_template, None, ""),
}
Stored = dict[str, pl.DataFrame]


def stored(folder: Path, map_path: Path | None) -> Stored:
    """Load a folder into a new store; return each table's columns and `ordinal`, and the set-aside counts by rule."""
    verdict = check(read_folder(folder, load_map(map_path)), Settings())
    with open_store(":memory:") as store:
        load(store, verdict, LoadMeta("2026-10-01T00:00:00+00:00", "0", "{}"))
        found = {name: store.sql(f"select {', '.join(table.column_names)}, ordinal from received.{name} "
                                 "where to_batch is null order by all") for name, table in TABLES.items()}
        found["set_aside"] = store.sql("select table_name, rule, count(*) as n from received.set_aside "
                                       "group by all order by all")
    return found


@pytest.fixture(scope="module")
def canonical(cohort, tmp_path_factory) -> Stored:
    folder = tmp_path_factory.mktemp("canonical")
    write_csv(cohort, folder)
    return stored(folder, None)


def without(set_aside: pl.DataFrame, form: str) -> pl.DataFrame:
    """Return the set-aside counts less the planted rows that are left out of a form."""
    kinds = {"value": "number", "from_on": "day", "event_on": "day"}
    out = pl.DataFrame([(t, f"{t}.{c}.{kinds[c]}", -1) for t, c, _ in exports.SOUND_HERE.get(form, ())],
                       schema=dict(set_aside.schema), orient="row")
    summed = pl.concat([set_aside, out]).group_by("table_name", "rule").agg(pl.col("n").sum())
    return summed.filter(pl.col("n") > 0).sort("table_name", "rule")


@pytest.fixture(scope="module")
def harbour(cohort, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("harbour")
    exports.write_workbook_export(cohort.tables, folder)
    return folder


LONGEST = ("template", "orchard")


@pytest.mark.parametrize("form", [pytest.param(f, marks=pytest.mark.slow if f in LONGEST else []) for f in FORMS])
def test_the_store_is_equal_row_by_row(cohort, canonical, harbour, tmp_path, form):
    write, map_path, name = FORMS[form]
    folder = harbour if form == "harbour" else tmp_path
    if folder is tmp_path:
        write(cohort.tables, folder)
    found = stored(folder, map_path)
    for table in TABLES:
        assert found[table].height > 0
        assert found[table].equals(canonical[table]), table
    assert found["set_aside"].sort("table_name", "rule").equals(without(canonical["set_aside"], name))


def test_the_lines_of_a_wide_workbook_are_its_rows(harbour):
    verdict = check(read_folder(harbour, load_map(MAPS / "harbour.toml")), Settings())
    tests = next(f for f in verdict.files if f.table == "tests")
    assert tests.file == "harbour.xlsx#Pressures" and tests.kept["line"].min() == 4  # titles and two rows of headings
    assert tests.kept["line"].n_unique() < tests.kept.height  # three efforts of one row share its line
    assert tests.kept["line"].max() < 1_048_576
    assert set(tests.set_aside["line"]) < set(range(4, 60_000))
