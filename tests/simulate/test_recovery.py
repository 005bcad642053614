"""The whole street, read back: files in, model frame out, and the primary model finds the truth that was put in."""

import numpy as np
import polars as pl
import pytest
from scipy import stats

from pipeline.analyse.fits import PressureModels, fit_pressure
from pipeline.derive import derive
from pipeline.ingest import read_folder
from pipeline.settings import Settings
from pipeline.simulate import Cohort
from pipeline.simulate.write import write_csv
from pipeline.store import open_store
from pipeline.validate import LoadMeta, check, load


@pytest.fixture(scope="module")
def frames(cohort: Cohort, tmp_path_factory: pytest.TempPathFactory) -> dict[str, pl.DataFrame]:
    folder = tmp_path_factory.mktemp("sample")
    write_csv(cohort, folder)
    verdict = check(read_folder(folder), Settings())
    with open_store(folder / "rmt.duckdb") as store:
        load(store, verdict, LoadMeta("2026-10-01T00:00:00", "test", ""))
        derive(store, Settings())
        return {name: store.table(f"frames.{name}") for name in ("model", "queries")}


def wald_p(models: PressureModels, truth: dict) -> float:  # type: ignore[type-arg]
    """P of the joint Wald test that dose, effort and both differences of protocols at week 12 are the true ones."""
    primary, differences = models.primary, truth["protocol_difference_in_gain"]
    assert primary is not None and primary.fit is not None and primary.look is not None
    weights = np.array([
        primary.look.term("dose_d"), primary.look.term("effort_e"),
        *(primary.look.difference(name, truth["reference_protocol"], 12) for name in differences)])
    true = [truth["dose"], truth["effort"], *(weeks["week_12"] for weeks in differences.values())]
    off = weights @ primary.fit.beta - true
    covariance = weights @ primary.fit.beta_covariance @ weights.T
    return float(stats.chi2.sf(off @ np.linalg.solve(covariance, off), len(true)))


@pytest.mark.parametrize("pressure", ["mip", "mep"])
def test_the_primary_model_recovers_the_truth(
    frames: dict[str, pl.DataFrame], cohort: Cohort, pressure: str
) -> None:
    models = fit_pressure(frames["model"], pressure, Settings())
    assert wald_p(models, cohort.truth[pressure]) > 0.001


def test_the_test_would_notice_that_nothing_is_associated(frames: dict[str, pl.DataFrame], cohort: Cohort) -> None:
    models = fit_pressure(frames["model"], "mip", Settings())
    wrong = {**cohort.truth["mip"], "dose": 0.0, "effort": 0.0}
    assert wald_p(models, wrong) < 0.001


def test_every_planted_query_is_asked_and_no_other(frames: dict[str, pl.DataFrame], cohort: Cohort) -> None:
    asked = set(frames["queries"].select("cause", "client_key").iter_rows())
    assert asked == {(q["cause"], q["client_key"]) for q in cohort.truth["queries"]}
