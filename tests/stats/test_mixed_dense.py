"""The engine against the textbook's matrices of the size of the rows, written out here from the definitions."""

import numpy as np
import polars as pl
import pytest

from pipeline.stats import MixedModel, Varies, fit_mixed, gains, pairwise, predict, random_effects
from pipeline.stats.diagnostics import diagnostics, residuals
from pipeline.stats.lrt import likelihood_ratio, mixture_p
from pipeline.stats.profiles import _Component, profile_intervals
from pipeline.stats.robust import robust_terms
from pipeline.stats.unequal import fit_by_group, fit_by_power
from tests.stats.cohorts import CLIENT_SLOPE, cohort

SITES = MixedModel("y", "1 + time12 * protocol", (Varies("client_key", "1 + time12"), Varies("site")))
DIAGONAL = MixedModel("y", "1 + time12 * protocol", (Varies("client_key", "1 + time12", correlated=False),))
CURVED = MixedModel("y", "1 + time12", (Varies("client_key", "1 + time12 + adherence"),))


class Dense:
    """V, X and the groupings' covariance parts of a fit, (n, n)."""

    def __init__(self, fit, frame):
        n = frame.height
        self.y, self.x = frame["y"].to_numpy(), fit.rows.x.of(frame)
        self.parts = []
        for varies, columns in zip(fit.model.varies, (fit.rows.z, fit.rows.outer), strict=False):
            key, z = frame[varies.by].to_numpy(), columns.of(frame)
            same = key[:, None] == key[None]
            if len(fit.model.varies) == 2 and varies is fit.model.varies[0]:
                site = frame[fit.model.varies[1].by].to_numpy()
                same &= site[:, None] == site[None]
            self.parts.append((z @ fit.covariance(varies.by)[1] @ z.T) * same)
        self.v = fit.residual_sd**2 * np.eye(n) + sum(self.parts)
        self.inverse = np.linalg.inv(self.v)
        self.phi = np.linalg.inv(self.x.T @ self.inverse @ self.x)
        self.beta = self.phi @ self.x.T @ self.inverse @ self.y
        self.rest = self.y - self.x @ self.beta


@pytest.fixture(scope="module")
def frame():
    return cohort(clients=24, seed=12)


@pytest.mark.parametrize("model", [CLIENT_SLOPE, SITES, DIAGONAL, CURVED])
@pytest.mark.parametrize("method", ["reml", "ml"])
def test_likelihood_and_mean_are_those_of_the_dense_formulas(frame, model, method):
    fit = fit_mixed(frame, model, method)
    dense = Dense(fit, frame)
    n, p = dense.x.shape
    value = np.linalg.slogdet(dense.v)[1] + dense.rest @ dense.inverse @ dense.rest
    if method == "reml":
        value += np.linalg.slogdet(dense.x.T @ dense.inverse @ dense.x)[1] + (n - p) * np.log(2 * np.pi)
    else:
        value += n * np.log(2 * np.pi)
    assert fit.log_likelihood == pytest.approx(-value / 2, abs=1e-8)
    assert fit.beta == pytest.approx(dense.beta, rel=1e-9)
    raw = fit_mixed(frame, model, method, df="satterthwaite").mean_terms["std_error"].to_numpy()
    assert raw == pytest.approx(np.sqrt(np.diag(dense.phi)), rel=1e-8)


@pytest.mark.parametrize("model", [CLIENT_SLOPE, SITES])
def test_predicted_curves_are_the_dense_conditional_means(frame, model):
    fit = fit_mixed(frame, model)
    dense = Dense(fit, frame)
    c = sum(dense.parts)
    made = predict(fit, frame, parameter_uncertainty=False)
    assert made["estimate"].to_numpy() == pytest.approx(dense.x @ dense.beta + c @ dense.inverse @ dense.rest, rel=1e-9)
    left = dense.x - c @ dense.inverse @ dense.x
    variance = np.diag(left @ dense.phi @ left.T + c - c @ dense.inverse @ c)
    assert made["std_error"].to_numpy() == pytest.approx(np.sqrt(variance), rel=1e-8)
    wider = predict(fit, frame)
    assert np.all(wider["std_error"].to_numpy() > made["std_error"].to_numpy())
    table = residuals(fit)
    assert table["residual"].to_numpy() == pytest.approx(dense.y - made["estimate"].to_numpy(), abs=1e-8)


def test_a_client_not_in_the_fit_is_predicted_by_the_mean_alone(frame):
    fit = fit_mixed(frame, CLIENT_SLOPE)
    dense = Dense(fit, frame)
    made = predict(fit, frame.with_columns(client_key=pl.lit("new")), parameter_uncertainty=False)
    assert made["estimate"].to_numpy() == pytest.approx(dense.x @ dense.beta, rel=1e-9)
    variance = np.diag(dense.parts[0]) + np.einsum("ni,ij,nj->n", dense.x, dense.phi, dense.x)
    assert made["std_error"].to_numpy() == pytest.approx(np.sqrt(variance), rel=1e-8)


def test_gain_of_a_client_is_the_difference_of_their_curve(frame):
    fit = fit_mixed(frame, CLIENT_SLOPE)
    one = frame.unique("client_key", keep="first", maintain_order=True)
    later, earlier = one.with_columns(time12=pl.lit(1.0)), one.with_columns(time12=pl.lit(0.0))
    found = gains(fit, later, earlier, above=5.0)
    difference = predict(fit, later)["estimate"] - predict(fit, earlier)["estimate"]
    assert found["gain"].to_numpy() == pytest.approx(difference.to_numpy(), rel=1e-8)
    inside = found["p_above"].to_numpy()
    assert np.array_equal(inside > 0.5, found["gain"].to_numpy() > 5.0)
    slopes = random_effects(fit, "client_key")["time12"].to_numpy()
    mean = np.array([fit.beta[1] + fit.beta[4] * (p == "b") + fit.beta[5] * (p == "c") for p in one["protocol"]])
    keys = random_effects(fit, "client_key")["client_key"].to_list()
    assert found["gain"].to_numpy() == pytest.approx(
        mean + slopes[[keys.index(k) for k in one["client_key"]]], rel=1e-8
    )


def test_cluster_robust_covariance_is_the_dense_formula(frame):
    fit = fit_mixed(frame, CLIENT_SLOPE)
    dense = Dense(fit, frame)
    meat = np.zeros_like(dense.phi)
    for key in frame["client_key"].unique(maintain_order=True):
        at = (frame["client_key"] == key).to_numpy()
        v, x = dense.v[np.ix_(at, at)], dense.x[at]
        d = np.linalg.cholesky(v).T
        values, vectors = np.linalg.eigh(d @ (v - x @ dense.phi @ x.T) @ d.T)
        power = np.where(values > 1e-10 * values.max(), values, np.inf) ** -0.5
        score = x.T @ np.linalg.inv(v) @ d.T @ (vectors * power) @ vectors.T @ d @ dense.rest[at]
        meat += np.outer(score, score)
    expected = np.sqrt(np.diag(dense.phi @ meat @ dense.phi))
    assert robust_terms(fit)["std_error"].to_numpy() == pytest.approx(expected, rel=1e-6)


def test_residual_sd_by_group_finds_what_was_put_in():
    draw = np.random.default_rng(3)
    frame = cohort(clients=150, seed=3).with_columns(pl.col("y").alias("base"))
    noise = np.where(frame["protocol"] == "b", 12.0, 0.0) * draw.normal(size=frame.height)
    found = fit_by_group(frame.with_columns(y=pl.col("base") + noise), CLIENT_SLOPE, "protocol")
    assert found.df == 2 and found.p < 1e-6
    ratio = found.parameters["relative_sd"].to_numpy()
    assert ratio[1] == pytest.approx(np.hypot(6, 12) / 6, rel=0.15)
    assert ratio[2] == pytest.approx(1.0, rel=0.15)
    assert fit_by_group(frame, CLIENT_SLOPE, "protocol").p > 0.01


def test_power_of_the_level_is_found():
    draw = np.random.default_rng(5)
    frame = cohort(clients=200, seed=5, level_sd=25.0)
    level = np.maximum(frame["y"].to_numpy(), 20.0)
    found = fit_by_power(frame.with_columns(y=level + draw.normal(size=len(level)) * level**1.5 / 40), CLIENT_SLOPE)
    assert found.p < 1e-6
    assert 0.5 < found.parameters["power"][0] < 1.6


def test_likelihood_ratio_knows_the_edge(frame):
    level, slope = (
        fit_mixed(frame, MixedModel("y", "1 + time12", (Varies("client_key", t),))) for t in ("1", "1 + time12")
    )
    found = likelihood_ratio(level, slope)
    assert found.mixture == {1: 0.5, 2: 0.5}
    assert found.statistic == pytest.approx(2 * (slope.log_likelihood - level.log_likelihood))
    # half of chi-square(1) beyond 2.7055 is 0.05
    assert mixture_p(2.705543454095404, {0: 0.5, 1: 0.5}) == pytest.approx(0.05)


def test_pairwise_differences_are_contrasts_of_the_terms(frame):
    fit = fit_mixed(frame, CLIENT_SLOPE)
    table = pairwise(fit, frame, "protocol", along="time12")
    direct = fit.contrast({"time12:protocol[T.b]": -1.0})
    assert table["estimate"][0] == pytest.approx(direct.estimate, rel=1e-8)
    assert table["std_error"][0] == pytest.approx(direct.std_error, rel=1e-8)
    assert table["df"][0] == pytest.approx(direct.df, rel=1e-8)
    assert np.all(table["p_adjusted"].to_numpy() >= table["p"].to_numpy())


def test_a_strange_client_stands_out_in_the_diagnostics(frame):
    strange = frame.with_columns(y=pl.col("y") + pl.when(pl.col("client_key") == "c0005").then(150.0).otherwise(0.0))
    assert diagnostics(fit_mixed(strange, CLIENT_SLOPE)).far_groups["client_key"].to_list() == ["c0005"]
    assert diagnostics(fit_mixed(frame, CLIENT_SLOPE)).far_groups.height == 0


@pytest.mark.parametrize("varies", [(Varies("client_key"),), (Varies("client_key"), Varies("site"))])
def test_profile_ends_lie_a_chi_square_quantile_below_the_top(frame, varies):
    fit = fit_mixed(frame, MixedModel("y", "1 + time12", varies), "ml")
    table = profile_intervals(fit)
    assert table["term"].to_list() == ["Intercept"] * len(varies) + ["residual"]
    assert np.all(table["low"].to_numpy() <= table["sd"].to_numpy())
    assert np.all(table["sd"].to_numpy() < table["high"].to_numpy())
    # at an end of the interval the lowest -2 log-likelihood lies the chi-square(1) 95 % quantile above the optimum
    sd = table["high"][-1]
    found = _Component(fit.solved, None, np.zeros(0)).at(sd / fit.solved.basis.scale, fit.solved.found.theta)[0]
    assert found - fit.solved.found.value == pytest.approx(3.841458820694124, abs=1e-3)
