"""What is read from a model: weights against the engine's own predictions, and the identities that must hold."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import t as student_t

from pipeline.analyse.design import prepared
from pipeline.analyse.fits import fit_pressure, run, with_lead
from pipeline.analyse.models import MODELS, TERMS, formula_in_words
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame
from pipeline.stats import gains

SETTINGS = Settings()


@pytest.fixture(scope="module")
def fitted():
    return run("primary", prepared(simulate_model_frame(250, 7), "mip"), MODELS["R1"], SETTINGS)


def test_gain_of_a_protocol_is_the_predicted_rise_of_a_new_client_at_the_mean_dose(fitted):
    new = fitted.look.frame.head(1).with_columns(client_key=pl.lit("nobody-yet"), protocol=pl.lit("firm_5x6"))
    form = fitted.built.form
    frames = []
    for week in (12.0, 0.0):
        made = form.columns(np.array([week]))
        frames.append(new.with_columns(
            pl.lit(week / 12).alias("time12"), pl.lit(0.0).alias("dose_d"), pl.lit(0.0).alias("effort_e"),
            *(pl.lit(float(made[0, k])).alias(name) for k, name in enumerate(form.names)),
        ))
    expected = gains(fitted.fit, frames[0], frames[1], 0.0)["gain"][0]
    assert fitted.read(fitted.look.gain(12.0, "firm_5x6")).estimate == pytest.approx(expected, abs=1e-9)


def test_mean_gain_is_the_share_weighted_mean_of_the_protocols(fitted):
    parts = [share * fitted.read(fitted.look.gain(12.0, p)).estimate for p, share in fitted.look.protocols.items()]
    assert fitted.read(fitted.look.gain(12.0)).estimate == pytest.approx(sum(parts), abs=1e-9)


def test_ten_points_more_dose_add_a_tenth_of_its_coefficient(fitted):
    more, less = (fitted.read(fitted.look.gain(12.0, dose=d)).estimate for d in (0.8, 0.7))
    assert more - less == pytest.approx(0.1 * fitted.term("dose_d").estimate, abs=1e-9)


def test_differences_turn_around_and_add_up(fitted):
    ab, ba = (fitted.read(fitted.look.difference(a, b, 12.0)) for a, b in
              (("firm_5x6", "ladder_6"), ("ladder_6", "firm_5x6")))
    assert (ab.estimate, ab.low, ab.high) == pytest.approx((-ba.estimate, -ba.high, -ba.low))


def test_coefficients_of_dose_do_not_depend_on_centring(fitted):
    """The fit on departures from the mean dose gives the dose coefficient of the fit on the dose itself."""
    from pipeline.stats import fit_mixed

    raw = fitted.look.frame.with_columns(
        pl.col("dose_d") + fitted.look.dose_rate * pl.col("time12"),
        pl.col("effort_e") + fitted.look.effort_rate * pl.col("time12"),
    )
    terms = fit_mixed(raw, fitted.built.model).mean_terms
    again = terms.filter(pl.col("term") == "dose_d")["estimate"].item()
    assert fitted.term("dose_d").estimate == pytest.approx(again, abs=1e-6)


def test_lead_is_the_next_interval_less_the_mean_and_unknown_at_the_last_test():
    rows = with_lead(prepared(simulate_model_frame(30, 2), "mip"))
    one = rows.filter(pl.col("client_key") == rows["client_key"][0])
    shares, weeks = one["interval_adherence"].to_list(), one["interval_weeks"].to_list()
    expected = (shares[1] - float(np.mean(shares[1:]))) * weeks[1] / 12
    assert one["lead_dose"][0] == pytest.approx(expected)
    assert one["lead_dose"][-1] is None


def test_every_term_of_every_model_is_a_term_and_stands_in_the_words(fitted):
    for recipe in MODELS.values():
        assert set(recipe.terms) <= set(TERMS)
    words = formula_in_words(fitted.built)
    assert all(part in words for part in ("f(weeks)", "dose_d", "(1 + time12 | client_key)", "knots at weeks 0, 4, 12"))


def test_five_sites_and_more_are_random():
    frame = simulate_model_frame(200, 5)
    site = pl.format("site-{}", pl.col("client_key").str.slice(-1).cast(pl.Int64) % 6)
    five = run("p", prepared(frame.with_columns(site=site), "mip"), MODELS["R2"], SETTINGS)
    assert [v.by for v in five.built.model.varies] == ["client_key", "site"]
    assert five.works, five.state
    assert not any("site" in name for name in five.fit.terms)


def test_too_few_people_give_words_and_no_exception():
    frame = simulate_model_frame(60, 5)
    two = frame.filter(pl.col("client_key").is_in(sorted(frame["client_key"].unique().to_list())[:2]))
    assert fit_pressure(two, "mip", SETTINGS).primary is None
    alone = run("p", prepared(two, "mip"), MODELS["R1"], SETTINGS)
    assert not alone.works and "fewer than three people" in alone.state


def test_adjusted_intervals_are_those_of_a_family(by_key):
    """Bonferroni at 1 - 0.05 / family size, by the same estimate, SE and df; wider than the single interval."""
    size = by_key["protocols.difference.family_size[pressure=mip]"].value
    for pair in ("firm_5x6 - ladder_6", "firm_5x6 - steady_30"):
        at = f"[pressure=mip;protocols={pair}]@12"
        one, all_of_them = (by_key[f"protocols.difference.{s}{at}"] for s in
                            ("difference_cmh2o", "difference_adjusted_cmh2o"))  # fmt: skip
        df = by_key[f"protocols.difference.df{at}"].value
        ratio = student_t.ppf(1 - 0.025 / size, df) / student_t.ppf(0.975, df)
        assert all_of_them.value == one.value
        assert (all_of_them.high - all_of_them.low) / (one.high - one.low) == pytest.approx(ratio)
        holm, single = (by_key[f"protocols.difference.{s}{at}"].value for s in ("p_holm", "p_value"))
        assert single <= holm <= min(1.0, size * single) + 1e-12


def test_a_protocol_of_one_site_has_no_contrast_and_the_row_says_so():
    from pipeline.analyse.protocol_models import difference

    frame = simulate_model_frame(260, 9)
    site = frame["site"].unique().sort()[0]
    only = (pl.col("protocol") != "ladder_6") | (pl.col("site") == site)
    found = fit_pressure(frame.filter(only), "mip", SETTINGS)
    said = difference({"mip": found}, SETTINGS)
    assert [r.group for r in said.rows if r.statistic == "not_separable"] == ["pressure=mip;protocol=ladder_6"]
    assert not any("ladder_6" in r.group for r in said.rows if r.statistic == "difference_cmh2o")
    assert any(r.statistic == "difference_cmh2o" and r.value is not None for r in said.rows)
