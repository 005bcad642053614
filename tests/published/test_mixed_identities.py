"""Published results that a mixed model must reproduce because they are the same estimator by another name."""

import numpy as np
import polars as pl
import pytest

from pipeline.stats import MixedModel, Varies, fit_mixed

# Shrout P E, Fleiss J L (1979), Psychol Bull 86:420-428, table 2: four judges (columns) rate six targets (rows).
SHROUT_FLEISS = [(9, 2, 5, 8), (6, 1, 3, 2), (8, 4, 6, 8), (7, 1, 2, 6), (10, 5, 6, 9), (6, 2, 4, 7)]
# Box G E P, Hunter W G, Hunter J S (1978), Statistics for Experimenters, table 4.3: wear of shoe soles, ten boys.
SHOES = {
    "A": [13.2, 8.2, 10.9, 14.3, 10.7, 6.6, 9.5, 10.8, 8.8, 13.3],
    "B": [14.0, 8.8, 11.2, 14.2, 11.8, 6.4, 9.8, 11.3, 9.3, 13.6],
}
# Student (1908), Biometrika 6:1-25: extra hours of sleep by two drugs, the same ten people.
SLEEP = {
    "1": [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    "2": [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
}


def by_person(table):
    rows = [(kind, person, float(y)) for kind, ys in table.items() for person, y in enumerate(ys)]
    return pl.DataFrame(rows, ["kind", "person", "y"], orient="row")


def intraclass(fit):
    between = fit.covariance("target")[1].item()
    return between / (between + fit.residual_sd**2)


def test_intraclass_correlations_of_shrout_and_fleiss():
    """Their table 4: ICC(1,1) = .17 (judges in the error), ICC(3,1) = .71 (judges fixed)."""
    rows = [(target, f"j{j}", float(y)) for target, ys in enumerate(SHROUT_FLEISS) for j, y in enumerate(ys)]
    frame = pl.DataFrame(rows, ["target", "judge", "y"], orient="row")
    alone = fit_mixed(frame, MixedModel("y", "1", (Varies("target"),)))
    judges = fit_mixed(frame, MixedModel("y", "1 + judge", (Varies("target"),)))
    assert intraclass(alone) == pytest.approx(0.17, abs=0.005)
    assert intraclass(judges) == pytest.approx(0.71, abs=0.005)


def test_paired_t_is_the_kind_effect():
    """R> t.test(extra ~ group, sleep, paired = TRUE): t = -4.062128, df = 9."""
    fit = fit_mixed(by_person(SLEEP), MixedModel("y", "1 + kind", (Varies("person"),)))
    found = fit.contrast({"kind[T.2]": -1.0})
    assert found.t == pytest.approx(-4.062128, abs=1e-6)
    assert found.df == pytest.approx(9.0, rel=1e-8)


def test_shoes_with_two_pairs_broken():
    """pbkrtest's vignette drops rows 1 and 12. R> KRmodcomp: F 5.9893, ddf 7.021904; SATmodcomp: ddf 7.010863."""
    frame = by_person(SHOES).with_row_index().filter(~pl.col("index").is_in([0, 11]))
    model = MixedModel("y", "1 + kind", (Varies("person"),))
    kenward_roger = fit_mixed(frame, model).contrast({"kind[T.B]": 1.0})
    assert kenward_roger.t**2 == pytest.approx(5.9893, abs=5e-5)
    assert kenward_roger.df == pytest.approx(7.021904, rel=1e-6)
    satterthwaite = fit_mixed(frame, model, df="satterthwaite").contrast({"kind[T.B]": 1.0})
    assert satterthwaite.df == pytest.approx(7.010863, rel=1e-5)


def test_within_and_between_of_the_grunfeld_panel():
    """Ten firms, balanced: the split by firm means gives the within and between estimators exactly.

    Within 0.1101238, 0.3100653; between 0.134646, 0.032031 (Baltagi 2005, Panel Data, table 2.1).
    """
    datasets = pytest.importorskip("statsmodels.datasets")
    frame = pl.DataFrame(datasets.grunfeld.load_pandas().data.to_dict("list"))
    frame = frame.filter(pl.col("firm") != "American Steel")
    means = {f"{name}_mean": pl.col(name).mean().over("firm") for name in ("value", "capital")}
    frame = frame.with_columns(**means)
    frame = frame.with_columns(**{f"{n}_own": pl.col(n) - pl.col(f"{n}_mean") for n in ("value", "capital")})
    mean = "1 + value_own + capital_own + value_mean + capital_mean"
    fit = fit_mixed(frame, MixedModel("invest", mean, (Varies("firm"),)))
    expected = [0.1101238, 0.3100653, 0.134646, 0.032031]
    assert np.abs(fit.mean_terms["estimate"].to_numpy()[1:] - expected).max() < 6e-7


def test_two_tests_a_client_give_the_change_scores():
    """Anorexia, 72 girls. R> lm(Postwt - Prewt ~ Treat): CBT - Cont 3.45689655172 (2.03329659742), FT 7.71470588235."""
    from tests.published.mixed_references import our_fit

    fit = our_fit("anorexia_long")
    cbt, ft = (fit.contrast({f"after:arm[T.{arm}]": 1.0}) for arm in ("CBT", "FT"))
    assert (cbt.estimate, cbt.std_error) == (pytest.approx(3.45689655172), pytest.approx(2.03329659742))
    assert (ft.estimate, ft.std_error) == (pytest.approx(7.71470588235), pytest.approx(2.34816253826))
    assert cbt.df == pytest.approx(69.0, rel=1e-8)


def test_constrained_baseline_with_unequal_variances_is_the_unstructured_model():
    """Two tests a girl: a level per girl and a residual SD per time spell out any covariance that is positive.

    R> gls(y ~ t + cbt + ft, corSymm, varIdent), REML: logLik -455.88274004; 4.09706552 (1.87097482), 8.66012817
    (2.16070444); the estimates are those of analysis of covariance (Coffman et al. 2016, BMJ Open 6:e013096).
    """
    from pipeline.stats.contrasts import mean_table
    from pipeline.stats.unequal import fit_by_group
    from tests.published.mixed_frames import frame_of

    frame = frame_of("anorexia_long", "MASS::anorexia")
    model = MixedModel("weight", "1 + after + after:arm", (Varies("client"),))
    fit = fit_by_group(frame, model, "after").fit
    assert fit.log_likelihood == pytest.approx(-455.88274004, abs=1e-6)
    plain = mean_table(fit.solved, fit.terms, "satterthwaite")  # standard errors not adjusted, as gls reports them
    table = {row["term"]: (row["estimate"], row["std_error"]) for row in plain.iter_rows(named=True)}
    assert table["after:arm[T.CBT]"] == pytest.approx((4.09706552, 1.87097482), abs=1e-5)
    assert table["after:arm[T.FT]"] == pytest.approx((8.66012817, 2.16070444), abs=1e-5)
