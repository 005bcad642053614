"""Cases met on published data and in the coverage study: one bare column, names that formulas also use, negative t."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from scipy import integrate, stats

from bench.cohort import cohort
from pipeline.stats import MixedModel, Varies, fit_mixed, standardised_effect
from pipeline.stats.noncentral import noncentral_t_cdf, noncentrality

MODEL = MixedModel("mip_cmh2o", "1 + time12 * protocol", (Varies("client_key", "1 + time12"),))


@pytest.fixture(scope="module")
def rows():
    return cohort(12, seed=20260102000 + 120_005, site_sd=0.0)


def test_a_mean_of_one_bare_column_can_be_fitted(rows):
    fit = fit_mixed(rows, MixedModel("mip_cmh2o", "0 + time12", (Varies("client_key", "0 + time12"),)))
    assert fit.mean_terms["term"].to_list() == ["time12"]
    assert np.isfinite(fit.log_likelihood)


@pytest.mark.parametrize("name", ["Treatment", "scale", "center", "poly", "lag"])
def test_a_column_may_bear_the_name_of_a_formula_function(rows, name):
    """formulaic's own functions are not among a formula's required variables; the column must still be found."""
    shuffled = rows.rename({"protocol": name}).sample(fraction=1.0, shuffle=True, seed=1)
    model = replace(MODEL, mean=f"1 + time12 * {name}")
    assert fit_mixed(shuffled, model).log_likelihood == pytest.approx(fit_mixed(rows, MODEL).log_likelihood, abs=1e-8)


@pytest.mark.parametrize("seed", range(8))
def test_a_standardised_effect_turned_round_has_its_interval_turned_round(seed):
    """scipy's nctdtr is NaN far out on the negative side; the limits must not depend on the sign of the contrast."""
    fit = fit_mixed(cohort(12, seed=seed, site_sd=0.0), MODEL)
    term = "time12:protocol[T.strength]"
    up, down = standardised_effect(fit, {term: 1.0}), standardised_effect(fit, {term: -1.0})
    assert (up.low, up.high) == (pytest.approx(-down.high, abs=1e-6), pytest.approx(-down.low, abs=1e-6))
    assert up.low < up.g < up.high


def test_null_in_a_column_with_such_a_name_is_named(rows):
    holed = rows.rename({"effort": "scale"}).with_columns(pl.col("scale").replace(rows["effort"][3], None))
    with pytest.raises(ValueError, match="'scale' is missing in 1 of"):
        fit_mixed(holed, replace(MODEL, mean="1 + time12 + scale"))


@pytest.mark.parametrize("clients", [20, 60, 240, 1000])
def test_a_large_standardised_effect_has_an_interval(clients):
    """The gain itself, |t| from 5 to 60: its limits lie where the plain normal ones do, to a tenth."""
    fit = fit_mixed(cohort(clients, seed=3, site_sd=0.0), MODEL)
    found = standardised_effect(fit, {"time12": 1.0, "time12:protocol[T.interval]": 0.5})
    plain = found.g * (1.0 + np.array([-1.96, 1.96]) / found.t)
    assert np.array([found.low, found.high]) == pytest.approx(plain, rel=0.1, abs=0.1)


@pytest.mark.parametrize(("t", "df"), [(5.627, 20.87), (-2.972, 62.77), (1.2, 7.5), (7.7, 17.6), (-4.2, 7.2)])
def test_noncentrality_limits_meet_their_definition(t, df):
    """By scipy.stats.nct, another algorithm; special.nctdtr is NaN in windows such as t 5.627, df 20.87, limit -6.3."""
    for probability in (0.025, 0.975):
        assert stats.nct.cdf(t, df, noncentrality(t, df, probability)) == pytest.approx(probability, abs=1e-7)


WINDOWS = [(-1.5, 6.5, 12.7), (5.6, 20.9, -6.3), (0.3, 1.1, 2.0), (60.0, 900.0, 58.0)]


@pytest.mark.parametrize(("t", "df", "delta"), WINDOWS)
def test_noncentral_t_is_the_integral_and_turns_round(t, df, delta):
    """Against the integral over the density of the chi by quadrature, in the windows where special.nctdtr is NaN."""
    chi = stats.chi(df, scale=df**-0.5)
    top = chi.ppf(1 - 1e-15)
    whole = integrate.quad(lambda s: stats.norm.cdf(t * s - delta) * chi.pdf(s), 0, top, epsabs=1e-12, limit=500)[0]
    assert noncentral_t_cdf(t, df, delta) == pytest.approx(whole, abs=1e-9)
    assert noncentral_t_cdf(-t, df, -delta) == pytest.approx(1 - whole, abs=1e-9)
