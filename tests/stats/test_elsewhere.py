"""A fit from sums equals the fit from the rows behind them, number by number, and is read and tested as that is."""

import pickle
from dataclasses import replace

import duckdb
import numpy as np
import polars as pl
import pytest
from numpy.testing import assert_allclose

from bench.sql_sums import Layout, sums_from_sql
from pipeline.stats import (
    MixedFit,
    MixedModel,
    SumsFit,
    Varies,
    fit_from_sums,
    fit_mixed,
    icc_at,
    profile_intervals,
    standardised_effect,
)
from pipeline.stats.standardised import level_variance
from tests.stats.programme import CLIENT, CLIENT_LEVEL, SITE, SITE_LEVEL, TERMS, TIME, model, programme, sums_of

NO_COVARIANCE = (Varies("client_key", "1 + time12", correlated=False), Varies("site", "1 + time12", correlated=False))
SHAPES = {
    "client level": (CLIENT_LEVEL,),
    "client": (CLIENT,),
    "client level, site level": (CLIENT_LEVEL, SITE_LEVEL),
    "client, site level": (CLIENT, SITE_LEVEL),
    "client, site": (CLIENT, SITE),
    "client, site, variances only": NO_COVARIANCE,
}


def outer_of(varies: tuple[Varies, ...]) -> int | None:
    return None if len(varies) == 1 else 2 if "time12" in varies[1].terms else 1


def both(
    rows: pl.DataFrame, made: MixedModel, *, patterns: bool = True, terms: tuple[str, ...] = TERMS, **how
) -> tuple[SumsFit, MixedFit]:
    """The fit from sums of the rows and the fit from the rows."""
    sums = sums_of(rows, terms, outer_of(made.varies), patterns)
    return fit_from_sums(sums, made, ("Intercept", *terms), **how), fit_mixed(rows, made, **how)


def assert_same(found: SumsFit, rows: MixedFit, rtol: float = 1e-8) -> None:
    """All that a fit says but its way there."""
    for name in ("model", "method", "df_method", "state", "state_kind", "n_rows", "n_groups", "terms", "random_names",
                 "dropped_zero"):  # fmt: skip
        assert getattr(found, name) == getattr(rows, name), name
    assert found.proof.converged
    assert found.log_likelihood == pytest.approx(rows.log_likelihood, rel=1e-9)
    assert found.residual_sd == pytest.approx(rows.residual_sd, rel=rtol)
    for column in ("estimate", "std_error", "df", "low", "high"):
        ours, theirs = (fit.mean_terms[column].to_numpy() for fit in (found, rows))
        assert_allclose(ours, theirs, rtol=rtol, err_msg=column)
    assert_allclose(found.beta, rows.beta, rtol=rtol)
    errors = np.sqrt(np.nan_to_num(np.diag(rows.beta_covariance)))
    assert_allclose(found.beta_covariance, rows.beta_covariance, rtol=rtol, atol=rtol * errors.max() ** 2)
    for varies in rows.model.varies:
        (names, psi), (known, wanted) = found.covariance(varies.by), rows.covariance(varies.by)
        assert names == known
        assert_allclose(psi, wanted, rtol=rtol, atol=rtol * rows.residual_sd**2)


@pytest.fixture(scope="module")
def rows() -> pl.DataFrame:
    return programme()


@pytest.mark.parametrize("patterns", [False, True])
@pytest.mark.parametrize("shape", SHAPES)
def test_sums_of_plain_columns_give_the_fit_of_the_rows(rows, shape, patterns):
    found, whole = both(rows, model(*SHAPES[shape]), patterns=patterns)
    assert whole.state_kind == "interior" and len(whole.terms) == 23
    assert_same(found, whole)


@pytest.mark.parametrize("how", [{"method": "ml"}, {"df": "satterthwaite"}])
def test_likelihood_and_degrees_of_freedom_of_either_kind(rows, how):
    assert_same(*both(rows, model(CLIENT, SITE_LEVEL), **how))


@pytest.mark.parametrize("boundary", ["drop", "keep"])
@pytest.mark.parametrize(("shape", "sds", "zero"), [
    ("client level", {"client_sd": (0.0, 0.0), "site_sd": (0.0, 0.0), "seed": 1}, "client_key"),
    ("client", {"client_sd": (12.0, 0.0), "site_sd": (0.0, 0.0), "seed": 2}, "client_key"),
    ("client, site level", {"site_sd": (0.0, 0.0), "seed": 2}, "site"),
    ("client, site", {"site_sd": (4.0, 0.0), "seed": 2}, "site"),
    ("client, site", {"client_sd": (12.0, 0.0), "site_sd": (0.0, 0.0), "seed": 2}, "site"),
])  # fmt: skip
def test_a_variance_of_zero_is_said_and_dropped_alike(shape, sds, zero, boundary):
    found, whole = both(programme(**sds), model(*SHAPES[shape]), boundary=boundary)
    assert whole.state_kind == "variance zero" and f"{zero!r}" in whole.state
    assert_same(found, whole, 1e-7)


def test_columns_that_follow_from_earlier_ones_are_left_out_alike(rows):
    more = rows.with_columns(male=1.0 - pl.col("female"), nobody=pl.lit(0.0), fixed=pl.lit(3.5),
                             time_again=pl.col("time_1") * 2.0 - pl.col("time_1_interval"))  # fmt: skip
    terms = ("male", *TERMS[:7], "nobody", "time_again", *TERMS[7:], "fixed")
    found, whole = both(more, model(CLIENT, SITE_LEVEL, terms=terms), terms=terms)
    assert whole.state_kind == "not identified" and np.isnan(whole.beta).sum() == 4
    assert_same(found, whole)
    with pytest.raises(ValueError, match="not identified on these rows"):
        found.contrast({"female": 1.0})


@pytest.mark.parametrize("shape", ["client level", "client", "client, site"])
def test_contrasts_joint_tests_and_effects_are_those_of_the_rows(rows, shape):
    found, whole = both(rows, model(*SHAPES[shape]))
    weights = {"time_1": 1.0, "time_1_interval": 1.0, "dose": 0.3}
    ours, theirs = (vars(fit.contrast(weights)) for fit in (found, whole))
    assert ours == pytest.approx(theirs, rel=1e-8)
    joint = np.eye(len(TERMS) + 1)[[found.terms.index(f"{t}_interval") for t in TIME]]
    ours, theirs = (fit.contrast(joint) for fit in (found, whole))
    assert (ours.f, ours.df1, ours.df2, ours.p) == pytest.approx((theirs.f, theirs.df1, theirs.df2, theirs.p), rel=1e-8)
    assert level_variance(found) == pytest.approx(level_variance(whole), rel=1e-8)
    ours, theirs = (vars(standardised_effect(fit, weights)) for fit in (found, whole))
    assert ours == pytest.approx(theirs, rel=1e-8)
    with pytest.raises(ValueError, match="has no term 'dosis'"):
        found.contrast({"dosis": 1.0})
    with pytest.raises(ValueError, match="has no grouping 'town'"):
        found.covariance("town")


def test_intervals_of_the_variances_are_those_of_the_rows():
    rows, terms = programme(80), ("time12",)
    found, whole = both(rows, model(CLIENT, terms=terms), terms=terms)
    ours, theirs = profile_intervals(found), profile_intervals(whole)
    assert ours.select("grouping", "term").equals(theirs.select("grouping", "term"))
    for column in ("sd", "low", "high"):
        assert_allclose(ours[column].to_numpy(), theirs[column].to_numpy(), rtol=1e-5, atol=1e-6)
    at = np.array([1.0, 1.0])
    assert icc_at(found, "client_key", at) == pytest.approx(icc_at(whole, "client_key", at), rel=1e-8)


@pytest.mark.parametrize("patterns", [False, True])
def test_a_model_may_leave_the_site_out_of_sums_that_hold_it(rows, patterns):
    made = model(CLIENT)
    found = fit_from_sums(sums_of(rows, TERMS, 2, patterns), made, ("Intercept", *TERMS))
    assert_same(found, fit_mixed(rows, made))


def test_a_large_offset_costs_no_digits_once_it_is_taken_off(rows):
    years = rows.with_columns(year=2000.0 + pl.col("age") / 10.0 + pl.col("time12") * pl.col("dose"))
    off = years.with_columns(pl.col("year") - 2006.0)
    terms = (*TERMS, "year")
    found = fit_from_sums(sums_of(off, terms), model(CLIENT, terms=terms), ("Intercept", *terms),
                          centres=[*np.zeros(len(TERMS) + 1), 2006.0, 0.0])  # fmt: skip
    assert_same(found, fit_mixed(years, model(CLIENT, terms=terms)))


def test_centres_are_taken_back(rows):
    terms, centres = ("time12", "dose", "age"), {"time12": 1.0, "dose": -0.3, "age": 54.0, "y": 7.0}
    off = rows.with_columns(pl.col(name) - by for name, by in centres.items())
    made = model(CLIENT, SITE, terms=terms)
    found = fit_from_sums(sums_of(off, terms, 2), made, ("Intercept", *terms), centres=[0.0, *centres.values()],
                          t_centre=1.0)  # fmt: skip
    assert_same(found, fit_mixed(rows, made))


def test_weights_count_as_groups(rows):
    """A pattern's count is what stands for its clients: with two of each client, the fit of the doubled rows."""
    once = sums_of(rows)
    twice = replace(once, weight=2.0 * once.weight, total=2.0 * once.total)
    more = pl.concat([rows, rows.with_columns(pl.col("client_key") + 1000)])
    assert_same(fit_from_sums(twice, model(CLIENT), ("Intercept", *TERMS)), fit_mixed(more, model(CLIENT)))


@pytest.mark.parametrize("shape", ["client", "client, site level", "client, site"])
def test_sums_of_duckdb_give_the_fit_of_the_rows(rows, shape):
    varies = SHAPES[shape]
    outer = outer_of(varies) or 0
    columns = (*("1e0", "cast(weeks as double) / 12e0")[:outer], "1e0", *TERMS, "y")
    layout = Layout("tests", columns, 0, outer="site" if outer else None, outer_columns=outer)
    database = duckdb.connect()
    database.register("tests", rows.with_columns(weeks=(pl.col("time12") * 12).round().cast(pl.Int64)).to_arrow())
    found = fit_from_sums(sums_from_sql(database, layout), model(*varies), ("Intercept", *TERMS))
    assert_same(found, fit_mixed(rows, model(*varies)))


def test_a_light_fit_answers_the_same_and_its_size_is_not_that_of_the_groups():
    few, many = (both(programme(n, seed=3), model(CLIENT, SITE_LEVEL), patterns=False) for n in (150, 600))
    assert_same(many[0].light(), many[1])
    weights = {TERMS[0]: 1.0}
    assert many[0].light().contrast(weights) == many[0].contrast(weights)
    assert standardised_effect(many[0].light(), weights) == standardised_effect(many[0], weights)
    fits = {"few": few[0].light(), "many": many[0].light(), "all": many[0]}
    room = {name: len(pickle.dumps(fit)) for name, fit in fits.items()}
    assert room["many"] < 1.05 * room["few"] < room["all"] / 1.5
