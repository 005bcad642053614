"""Properties of the engine: units, order, weights, refits."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.stats import MixedModel, Varies, fit_mixed
from pipeline.stats.refit import cluster_bootstrap, leave_one_out
from tests.stats.cohorts import CLIENT_SLOPE, cohort

WITH_SITE = MixedModel("y", "1 + time12 * protocol", (Varies("client_key", "1 + time12"), Varies("site", "1 + time12")))


@given(
    seed=st.integers(0, 10_000),
    clients=st.integers(5, 60),
    per_unit=st.sampled_from([12.0, 84.0, 12.0 / 52.18]),
    origin=st.sampled_from([0.0, 1e4]),
    slope_sd=st.sampled_from([0.0, 1.0, 6.0]),
)
@settings(max_examples=40, deadline=None)
def test_days_weeks_and_years_give_the_same_fit(seed, clients, per_unit, origin, slope_sd):
    frame = cohort(clients=clients, seed=seed, slope_sd=slope_sd)
    other = frame.with_columns(time12=pl.col("time12") * per_unit + origin * (per_unit > 1))
    one, two = fit_mixed(frame, CLIENT_SLOPE), fit_mixed(other, CLIENT_SLOPE)
    slope = [t for t in one.terms if t.startswith("time12")]
    a, b = (f.mean_terms.filter(pl.col("term").is_in(slope)) for f in (one, two))
    assert b["estimate"].to_numpy() * per_unit == pytest.approx(a["estimate"].to_numpy(), rel=1e-8, abs=1e-8)
    assert b["std_error"].to_numpy() * per_unit == pytest.approx(a["std_error"].to_numpy(), rel=1e-8)
    assert b["df"].to_numpy() == pytest.approx(a["df"].to_numpy(), rel=1e-6)
    # REML: three columns with time were stretched (stats by Harville 1974: minus the log of each stretch)
    assert two.log_likelihood + 3 * np.log(per_unit) == pytest.approx(one.log_likelihood, abs=1e-8)


@pytest.mark.parametrize("model", [CLIENT_SLOPE, WITH_SITE])
def test_order_of_rows_and_an_offset_change_nothing(model):
    frame = cohort(clients=40, seed=2)
    one = fit_mixed(frame, model)
    two = fit_mixed(frame.sample(fraction=1.0, shuffle=True, seed=1).with_columns(pl.col("y") + 1e6), model)
    assert two.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-7)
    assert two.mean_terms["std_error"].to_numpy() == pytest.approx(one.mean_terms["std_error"].to_numpy(), rel=1e-7)
    assert two.mean_terms["estimate"][1] == pytest.approx(one.mean_terms["estimate"][1], rel=1e-6)


def test_the_same_input_gives_the_same_bytes():
    one, two = (fit_mixed(cohort(), WITH_SITE) for _ in range(2))
    assert one.mean_terms.write_csv() == two.mean_terms.write_csv()


def test_a_weight_of_two_is_the_client_twice():
    frame = cohort(clients=20, seed=4)
    weights = {key: 2.0 if key == "c0003" else 1.0 for key in frame["client_key"].unique()}
    twice = pl.concat([frame, frame.filter(client_key="c0003").with_columns(client_key=pl.lit("again"))])
    one, two = fit_mixed(frame, CLIENT_SLOPE, weights=weights), fit_mixed(twice, CLIENT_SLOPE)
    assert one.log_likelihood == pytest.approx(two.log_likelihood, abs=1e-8)
    for column in ("estimate", "std_error", "df"):
        assert one.mean_terms[column].to_numpy() == pytest.approx(two.mean_terms[column].to_numpy(), rel=1e-8)


@pytest.mark.parametrize("slope_sd", [0.0, 6.0])
def test_leaving_one_client_out_is_a_fresh_fit(slope_sd):
    frame = cohort(clients=20, seed=9, slope_sd=slope_sd)
    found = leave_one_out(fit_mixed(frame, CLIENT_SLOPE))
    for key in frame["client_key"].unique().sort()[:6]:
        fresh = fit_mixed(frame.filter(pl.col("client_key") != key), CLIENT_SLOPE)
        without = found.terms.filter(client_key=key)["estimate"].to_numpy()
        assert without == pytest.approx(fresh.beta, rel=1e-8, abs=1e-7)
        sd = found.groups.filter(client_key=key)["residual_sd"][0]
        assert sd == pytest.approx(fresh.residual_sd, rel=1e-7)


@pytest.mark.parametrize("by", ["client_key", "site"])
def test_leaving_one_out_of_a_model_with_sites_is_a_fresh_fit(by):
    frame = cohort(clients=40, seed=6)
    model = MixedModel("y", "1 + time12", (Varies("client_key", "1 + time12"), Varies("site")))
    found = leave_one_out(fit_mixed(frame, model), by)
    key = found.groups[by][1]
    fresh = fit_mixed(frame.filter(pl.col(by) != key), model)
    without = found.terms.filter(pl.col(by) == key)["estimate"].to_numpy()
    assert without == pytest.approx(fresh.beta, rel=1e-8, abs=1e-7)


def test_a_term_only_one_client_carries_has_no_estimate_without_them():
    frame = cohort(clients=12, seed=1).with_columns(only=(pl.col("client_key") == "c0004").cast(pl.Float64))
    fit = fit_mixed(frame, MixedModel("y", "1 + time12 + only", (Varies("client_key"),)))
    found = leave_one_out(fit)
    assert found.groups.filter(client_key="c0004")["cook_distance"][0] is None
    assert found.groups["cook_distance"].null_count() == 1


def test_bootstrap_is_decided_by_its_seed_alone():
    fit = fit_mixed(cohort(), CLIENT_SLOPE)
    one, two, other = (cluster_bootstrap(fit, seed, repeats=30) for seed in (1, 1, 2))
    assert one.table.equals(two.table)
    assert not one.table.equals(other.table)
    ratio = one.table["std_error"].to_numpy() / fit.mean_terms["std_error"].to_numpy()
    assert np.all((ratio > 0.5) & (ratio < 2.0))
