"""The table of other choices on the sample, on small cohorts, and what single people and sites do to an answer."""

from dataclasses import replace
from datetime import date

import numpy as np
import polars as pl
import pytest

from pipeline.analyse.choice import DIFFERENCE, DOSE, GAIN, Ground, Refit, Target
from pipeline.analyse.choices import CHOICES, choices, ground_of, targets_of
from pipeline.analyse.fits import fit_pressure
from pipeline.analyse.influence import influences
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame
from pipeline.stats import cluster_bootstrap, robust_contrast
from pipeline.stats.refit import refitter

SETTINGS = Settings()
KINDS = ["primary", "baseline", "dose told otherwise", "learning", "time form", "random part", "standard errors",
         "exposure", "confounders", "weights", "drop-out", "tests", "scale", "influence"]  # fmt: skip


@pytest.fixture(scope="module")
def rows(results):
    return [r for r in results.rows if r.section == "choices" and r.report == "protocols"]


def name_of(row):
    return row.group.partition("choice=")[2].partition(";")[0]


def of(rows, statistic, pressure="mip", pair=""):
    return [r for r in rows if r.statistic == statistic and r.group.startswith(f"pressure={pressure};kind=")
            and r.group.partition("protocols=")[2] == pair]  # fmt: skip


def test_every_kind_of_analysis_has_rows_in_the_fixed_order(rows):
    seen = dict.fromkeys(r.group.partition("kind=")[2].partition(";")[0] for r in of(rows, DIFFERENCE, "mip",
                                                                                     "firm_5x6 - ladder_6"))
    assert list(seen) == KINDS


def test_both_pressures_and_every_pair_show_the_same_analyses(rows):
    pairs = ("firm_5x6 - ladder_6", "firm_5x6 - steady_30", "ladder_6 - steady_30")
    listed = {(p, pair): [name_of(r) for r in of(rows, DIFFERENCE, p, pair)] for p in ("mip", "mep") for pair in pairs}
    assert len({tuple(names) for names in listed.values()}) == 1
    names = listed["mip", pairs[0]]
    assert len(names) == len(set(names)) and names[0] == "primary" and len(names) >= 40


def test_one_row_says_why_where_an_analysis_has_no_answer(rows):
    """No learning curve is held for MEP: the row stands in every target, with the reason."""
    learning = [r for r in rows if "kind=learning" in r.group and r.group.startswith("pressure=mep")]
    assert len(learning) == 2 * 5
    assert {r.text for r in learning} == {"did not fit: no learning curve is held for this pressure"}
    assert all(r.value is None for r in learning)


def test_the_primary_row_is_what_the_other_sections_print(rows, by_key):
    main = next(r for r in of(rows, DIFFERENCE, "mip", "firm_5x6 - steady_30") if name_of(r) == "primary")
    printed = by_key["protocols.difference.difference_cmh2o[pressure=mip;protocols=firm_5x6 - steady_30]@12"]
    assert (main.value, main.low, main.high) == (printed.value, printed.low, printed.high)


def test_all_three_baseline_handlings_are_printed_and_one_is_the_primary(rows):
    found = {name_of(r): r for r in of(rows, DIFFERENCE, "mip", "firm_5x6 - steady_30")}
    three = [n for n in found if "kind=baseline" in found[n].group]
    assert len(three) == 3
    assert found["unconstrained: each protocol its own"].value == found["primary"].value
    assert found["primary"].note.startswith("baseline unconstrained")


def test_the_count_of_other_conclusions_is_that_of_the_rows_marked(rows):
    for told in (r for r in rows if r.statistic == "conclusion" and r.value is not None):
        tail = told.group.partition(";of=")[2]
        pressure = told.group.partition(";")[0]
        marked = [r for r in rows if r.statistic == "changes" and r.klass == "aggregate"
                  and r.group.startswith(pressure) and r.group.partition(";of=")[2] == tail]  # fmt: skip
        assert told.value == len(marked)
        assert told.n >= len(marked) and told.n >= 30


def test_planned_effects_hold_over_the_choices(rows):
    """The sample's protocols differ by a planted 6 cmH2O: every analysis that fitted says so by its sign."""
    seen = [r for r in of(rows, DIFFERENCE, "mip", "firm_5x6 - steady_30") if r.value is not None]
    assert all(r.value > 0 for r in seen)


def test_single_people_stay_internal(rows):
    about_one = [r for r in rows if r.statistic == "influence_most_se" or "the most influential person" in r.group]
    assert about_one and all(r.klass == "client" for r in about_one)
    assert all(r.n_of == "people" for r in rows if r.statistic.startswith("influence_past"))


def test_the_spread_that_grows_with_the_level_is_found_and_tested(rows):
    power = {r.group: r.value for r in rows if r.statistic == "variance_power"}
    p = {r.group: r.value for r in rows if r.statistic == "variance_power_p"}
    assert power["pressure=mip"] == pytest.approx(0.8, abs=0.1)
    assert p["pressure=mip"] < 1e-6


@pytest.fixture(scope="module")
def small():
    """Ninety people of two protocols, with the frames that the analyses read beside the model frame."""
    frame = simulate_model_frame(90, 8).filter(pl.col("protocol") != "ladder_6")
    found = fit_pressure(frame, "mip", SETTINGS)
    keys = frame["client_key"].unique().sort()
    courses = pl.DataFrame({"client_key": keys, "course_no": [1] * len(keys), "is_primary": [True] * len(keys),
                            "respiratory_support": ["none"] * len(keys), "age_years": [60] * len(keys),
                            "referral_reason": ["cough"] * len(keys), "is_open": [False] * len(keys),
                            "week0_on": [date(2025, 1, 1)] * len(keys), "last_on": [date(2025, 7, 1)] * len(keys)})
    facts = frame.select("client_key", "tested_on", "pressure").with_columns(
        pl.lit(None, pl.Boolean).alias("is_rep20"), pl.lit(None, pl.String).alias("test_reason"))  # fmt: skip
    gains = courses.select("client_key", "course_no").with_columns(
        pl.lit("mip").alias("pressure"), pl.lit(None, pl.Float64).alias("baseline_pct_predicted"),
        pl.lit(None, pl.Float64).alias("baseline_cmh2o"))  # fmt: skip
    weeks = pl.DataFrame(schema={"client_key": pl.String, "course_no": pl.Int64, "week_from_on": pl.Date,
                                 "week_days": pl.Int64, "sessions_done": pl.Int64, "sessions_prescribed": pl.Int64})
    return found, {"model": frame, "courses": courses, "test_days": facts, "gains": gains, "client_weeks": weeks}


def test_analyses_without_their_data_say_so(small):
    """Nobody's repeatability, reason, prediction or week is known: those rows stand, without a number."""
    found, frames = small
    said = choices(frames, {"mip": found}, SETTINGS)
    lacking = {name_of(r): r.text for r in said.rows if r.statistic == GAIN and r.value is None}
    assert {"repeatable tests only (20 %)", "% of predicted"} <= set(lacking)
    assert all(text.startswith("did not fit: ") for text in lacking.values())
    weighted = next(r for r in said.rows if r.statistic == GAIN and "kind=weights" in r.group)
    assert weighted.value is None and ("fewer people" in weighted.text or "fewer than two" in weighted.text)


def test_standard_errors_are_those_of_the_engine(small):
    found, frames = small
    ground = ground_of(found, frames, SETTINGS)
    read = {r.name: r for analysis in CHOICES for r in analysis(ground) if r.kind == "standard errors"}
    target = Target(GAIN)
    weights, fit = ground.weights_for(target), ground.fit_for(target)
    cr2 = robust_contrast(fit.fit, weights)
    assert read["CR2, by whole people"].found[target] == cr2
    drawn = cluster_bootstrap(fit.fit, SETTINGS.seed, SETTINGS.bootstrap_draws).beta
    kept = list(fit.fit.solved.basis.kept)
    whole = np.nanstd(drawn @ weights[kept], ddof=1)
    assert read["bootstrap of whole people"].found[target].std_error == pytest.approx(whole, rel=0.1)


def test_the_seed_of_the_settings_decides_the_draws(small):
    found, frames = small

    def ends(seed):
        ground = ground_of(found, frames, replace(SETTINGS, seed=seed))
        one = next(r for a in CHOICES for r in a(ground) if r.name == "bootstrap of whole people")
        return one.found[Target(GAIN)].low

    assert ends(1) == ends(1) != ends(2)


def test_a_site_left_out_is_a_fresh_fit_of_the_rest(small):
    found, frames = small
    ground = ground_of(found, frames, SETTINGS)
    read = {r.name: r for a in CHOICES for r in a(ground) if r.name.startswith("without site ")}
    assert len(read) == found.rows["site"].n_unique()
    site = sorted(found.rows["site"].unique())[0]
    fresh = fit_pressure(frames["model"].filter(pl.col("site") != site), "mip", SETTINGS)
    again = Refit("x", "x")(replace(ground, rows=fresh.rows))[0].found[Target(GAIN)]
    mine = read[f"without site {site}"].found[Target(GAIN)]
    assert (mine.estimate, mine.low) == pytest.approx((again.estimate, again.low), rel=1e-9)
    people = found.rows.unique("client_key")
    inside = people.filter(pl.col("site") == site).height
    assert read[f"without site {site}"].apart == min(inside, people.height - inside)


def test_the_most_influential_person_is_that_of_refitting_without_each(small):
    found, frames = small
    ground = ground_of(found, frames, SETTINGS)
    for target in targets_of(found):
        fit, weights, answer = ground.fit_for(target), ground.weights_for(target), ground.primary[target]
        made, kept = refitter(fit.fit), list(fit.fit.solved.basis.kept)
        moves = np.array([(made.without(k).beta @ weights[kept] - answer.estimate) / answer.std_error
                          for k in range(len(fit.fit.rows.inner_keys))])  # fmt: skip
        one = influences(ground)[target]
        assert one.client_key == fit.fit.rows.inner_keys[int(np.argmax(np.abs(moves)))]
        assert one.move == pytest.approx(moves[np.argmax(np.abs(moves))], rel=1e-9)
        assert one.past_one == int((np.abs(moves) > 1).sum())


def test_one_wild_person_is_named():
    frame = simulate_model_frame(60, 3)
    key = sorted(frame["client_key"].unique())[7]
    is_wild = (pl.col("client_key") == key) & (pl.col("week") > 0)
    value = pl.when(is_wild).then(pl.col("value_cmh2o") + 400 * pl.col("time12")).otherwise(pl.col("value_cmh2o"))
    found = fit_pressure(frame.with_columns(value.alias("value_cmh2o")), "mip", SETTINGS)
    ground = Ground(found, found.rows, {}, SETTINGS, targets_of(found))
    one = influences(ground)[Target(GAIN)]
    assert one.client_key == key and one.move < -0.3
    assert one.without < ground.primary[Target(GAIN)].estimate


def test_targets_are_the_open_questions(small):
    found, _ = small
    closed = replace(found, gate=replace(found.gate, answers={
        **found.gate.answers, "protocol": replace(found.gate.answers["protocol"], verdict="cannot"),
        "dose": replace(found.gate.answers["dose"], verdict="cannot")}))  # fmt: skip
    assert targets_of(closed) == (Target(GAIN),)
    opened = replace(found, gate=replace(found.gate, answers={
        **found.gate.answers, "protocol": replace(found.gate.answers["protocol"], verdict="can answer"),
        "dose": replace(found.gate.answers["dose"], verdict="can answer")}))  # fmt: skip
    assert {t.statistic for t in targets_of(opened)} <= {GAIN, DIFFERENCE, DOSE}
