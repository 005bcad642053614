"""The sample cohort, taken once through the whole street to its frames, its fits and its results."""

from pathlib import Path

import pytest

from pipeline.analyse import analyse, fit_models
from pipeline.derive import derive
from pipeline.ingest import read_folder
from pipeline.settings import Settings
from pipeline.store import open_store
from pipeline.validate import LoadMeta, check, load
from tests.conftest import once_for_all

SAMPLE = Path(__file__).parents[2] / "sample_data"
QUARTER = "2026Q3"


@pytest.fixture(scope="session")
def frames():
    settings = Settings()
    with open_store(":memory:") as store:
        load(store, check(read_folder(SAMPLE), settings), LoadMeta("2026-10-01T00:00:00+00:00", "test", ""))
        derive(store, settings)
        names = store.sql(
            "select table_name from information_schema.tables where table_schema = 'frames' order by table_name"
        )["table_name"].to_list()
        return {name: store.table(f"frames.{name}") for name in names}


@pytest.fixture(scope="session")
def models(frames):
    return fit_models(frames, Settings())


@pytest.fixture(scope="session")
def results(frames, tmp_path_factory):
    return once_for_all(tmp_path_factory, "results_of_the_sample", lambda _: analyse(frames, Settings(), QUARTER))


@pytest.fixture(scope="session")
def by_key(results):
    return {row.key: row for row in results.rows}
