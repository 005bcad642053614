"""Definitions of what the protocols page says about other choices: the table of them, weights, drop-out."""

from __future__ import annotations

from pipeline.analyse.definition import define
from pipeline.analyse.definitions_clinic import KENWARD, MODEL, A

WORTH = "mip_worthwhile_cmh2o mep_worthwhile_cmh2o widest_per_10_points_cmh2o"
ALIKE = "Austin 2009, Stat Med 28:3083; Stuart 2010, Stat Sci 25:1"
LI = "Li, Morgan and Zaslavsky 2018, J Am Stat Assoc 113:390; Li and Li 2019, Ann Appl Stat 13:2389"

SENSITIVITY = (
    define("protocols.choices", "gain_cmh2o difference_cmh2o dose_per_10_points_cmh2o state", "the same under other "
           "choices: one row an analysis, all of them shown, those asked for later marked post hoc",
           "the primary contrast by another model, other rows, another spread or another standard error",
           inputs="model test_days client_weeks courses gains", settings=f"{MODEL} bootstrap_draws seed "
           "min_per_protocol_weights window_12_low_weeks rule_uses_measured_value",
           where=f"{A}choices.py:choices {A}choice.py:Refit {A}choice_rows.py:trailing {A}choice_spread.py:Reread "
           f"{A}weighting.py:weighted {A}dropout.py:fallen {A}retested.py:by_retesting {A}post_hoc.py:readings",
           source=KENWARD),
    define("protocols.choices", "effective_n largest_weight cut_pct", "people retested, weighted to stand for all: "
           "what the weights leave of their number, the largest one, and how many were cut",
           "w = product over a person's tests before the window of P(another test | time, protocol) / P(another test | "
           "all known by then), logistic, cut at 1 and 99 %; effective n = (sum w)^2 / sum w^2",
           inputs="model courses", settings="window_12_low_weeks window_12_high_weeks",
           where=f"{A}retested.py:retested pipeline/stats/weighted_robust.py:weighted_robust",
           source="Robins, Rotnitzky and Zhao 1995, J Am Stat Assoc 90:106; Hernan, Brumback and Robins 2000, "
           "Epidemiology 11:561"),
    define("protocols.choices", "conclusion changes", "whether another analysis lets one conclude otherwise",
           "three things: the 95 % interval leaves 0 out; the sign; the estimate reaches the smallest worthwhile one",
           inputs="model", where=f"{A}conclusions.py:changes", settings=WORTH),
    define("protocols.choices", "influence_most_se influence_past_1_se influence_tipping", "how far one person moves "
           "an answer", "(estimate without the person - estimate) / its SE; each left out with the variances held, the "
           "ten who move most by a whole refit", inputs="model", where=f"{A}influence.py:influence "
           "pipeline/stats/held.py:held", source="Cook 1977, Technometrics 19:15, one contrast at a time"),
    define("protocols.choices", "variance_power variance_power_p", "whether the residual SD grows with the level of "
           "pressure", "SD = s x |fitted level|^power; likelihood ratio against power 0, 1 df", inputs="model",
           where="pipeline/stats/unequal.py:fit_by_power", source="Pinheiro and Bates 2000, section 5.2"),
    define("protocols.balance", "model not_weighted needed people effective_n max_weight min_chance truncated",
           "who could have been given which protocol, and the weights made of that",
           "multinomial logistic; two protocols: w = 1 - own chance; more: w = 1 / own chance; effective n = "
           "(sum w)^2 / sum w^2", inputs="model courses", settings="min_per_protocol_weights",
           where=f"{A}weighting.py:weighing pipeline/stats/propensity.py:multinomial", source=f"{LI}; Kish 1965",
           unit="people"),
    define("protocols.balance", "smd_before smd_after largest_smd_after variance_ratio_before variance_ratio_after "
           "missing_pct", "whether the protocols are alike, before and after weights",
           "|mean a - mean b| / root of the mean of the two unweighted variances; variance a / variance b",
           inputs="model courses", where=f"{A}balance.py:balanced pipeline/stats/propensity.py:balance", source=ALIKE),
    define("protocols.balance", "people_by_chance state", "people by their chance of a protocol, those given it and "
           "the others", "twenty equal bins, joined until each holds eleven people", inputs="model courses",
           where=f"{A}balance.py:bins"),
    define("protocols.tipping", "not_retested missing_weeks difference_if_lost_cmh2o tipping_loss_cmh2o "
           "tipping_slope_cmh2o state", "how much the people not retested would have to have lost to undo a "
           "difference, or its interval's distance from 0",
           "difference(delta) = difference - delta (mean m_a - mean m_b), m: 12-week units after the last test of a "
           "person not retested, else 0; loss a person = delta x mean m of those not retested", inputs="model",
           where=f"{A}dropout.py:tip {A}tipping.py:tipping", settings="window_12_low_weeks",
           source="Carpenter, Roger and Kenward 2013, J Biopharm Stat 23:1352 (delta method); the formula is ours"),
    define("protocols.tipping", "dose_if_unlogged_share_cmh2o tipping_unlogged_pct", "how much of the unlogged "
           "training would have to have been done to undo the association with dose",
           "refit with D = D(none) + share x (D(all) - D(none)) for everybody, or only for those who gained less",
           inputs="model", where=f"{A}dropout.py:dose_by_share {A}dropout.py:share_that_tips", settings=MODEL,
           source=KENWARD),
)  # fmt: skip
