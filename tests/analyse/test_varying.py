"""Terms that vary from test to test: simulated coefficients come back, and what is not recorded is not made up."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import chi2

from pipeline.analyse.common import Section
from pipeline.analyse.design import prepared
from pipeline.analyse.fits import fit_pressure
from pipeline.analyse.varying import RECORDED, WELLBEING, fit_varying, varying, with_varying
from pipeline.settings import Settings
from pipeline.simulate.model_frame import Study, simulate_model_frame

#: cmH2O per share, day, day, point and week; the terms are told per week where the frame counts days.
TRUTH = {"eased_share_interval": -6.0, "held_days_interval": -0.3, "illness_days_interval": -0.5,
         "wellbeing_interval": 1.2, "weeks_since_session": -0.8}  # fmt: skip
OF_COLUMN = {"eased_share": -6.0, "held_weeks": -2.1, "illness_weeks": -3.5, "weeks_away": -0.8, "wellbeing_more": 1.2}


@pytest.fixture(scope="module")
def planted():
    frame = simulate_model_frame(400, 20260701, study=Study(varying=TRUTH, share_naive=0.0))
    return fit_pressure(frame, "mip", Settings())


@pytest.fixture(scope="module")
def fits(planted):
    return fit_varying(planted, Settings())


def wald_p(fitted, truth):
    weights = np.array([fitted.look.term(name) for name in truth])
    gap = weights @ fitted.fit.beta - np.array(list(truth.values()))
    return float(chi2.sf(gap @ np.linalg.solve(weights @ fitted.fit.beta_covariance @ weights.T, gap), len(truth)))


def test_simulated_coefficients_come_back(fits):
    assert fits["wellbeing"].works
    assert wald_p(fits["wellbeing"], OF_COLUMN) > 0.001


def test_other_coefficients_are_refused(fits):
    assert wald_p(fits["wellbeing"], dict.fromkeys(OF_COLUMN, 0.0)) < 0.001
    assert wald_p(fits["wellbeing"], OF_COLUMN | {"illness_weeks": 0.0}) < 0.001


def test_each_is_printed_with_unit_interval_df_and_n(planted):
    section = Section("quarter", "model")
    varying(section, planted, Settings())
    found = {r.group: r for r in section.rows if r.statistic == "varying_cmh2o"}
    df = {r.group: r.value for r in section.rows if r.statistic == "varying_df"}
    assert len(found) == len(RECORDED) + 1 and set(df) == set(found)
    for row in found.values():
        assert row.unit == "cmH2O" and row.low < row.value < row.high and row.n > row.n_people > 0 and row.note
    eased = found["pressure=mip;term=eased"]
    assert eased.low < -0.6 < eased.high  # per 10 points of sessions eased


def test_what_is_not_recorded_stays_out_and_never_counts_as_none(planted):
    rows = planted.rows
    blank = rows.with_columns(
        wellbeing_interval=pl.when(pl.col("client_key") < "client-000200").then(pl.col("wellbeing_interval")))
    seen = with_varying(blank).filter(~pl.col("is_baseline"))
    assert seen.filter(pl.col("client_key") >= "client-000200")[WELLBEING.column].null_count() > 0
    assert seen.filter(pl.col("client_key") >= "client-000200")[WELLBEING.column].drop_nulls().is_empty()
    assert with_varying(rows).filter("is_baseline").select(v.column for v in (*RECORDED, WELLBEING)).sum().row(0) == (
        0.0,) * 5  # fmt: skip


def test_a_cohort_with_and_without_them_is_the_same_otherwise():
    plain, with_them = (simulate_model_frame(30, 5, study=Study(varying=v)) for v in ({}, dict.fromkeys(TRUTH, 0.0)))
    assert plain.drop(*TRUTH).equals(with_them.drop(*TRUTH))
    assert prepared(with_them, "mip")["illness_days_interval"].sum() > 0 == plain["illness_days_interval"].sum()
