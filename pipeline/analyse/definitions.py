"""The catalogue of definitions: every result and every word of the trade that the pages use, by name."""

from __future__ import annotations

from pipeline.analyse.definition import Definition, define
from pipeline.analyse.definitions_choices import SENSITIVITY
from pipeline.analyse.definitions_clinic import CLINIC, KENWARD, MODEL, WORDS, A
from pipeline.analyse.definitions_service import SERVICE

ESTIMAND = "ICH E9(R1)"
STALLED = "stalled_probability stalled_slope_se stalled_window_weeks stalled_wide_window_weeks stalled_z"
TARGETS = "mip_target_gain_cmh2o mep_target_gain_cmh2o learning_allowance_cmh2o"

RESEARCH = (
    define("protocols.estimand", "attribute plan", "what is estimated, in five attributes", WORDS, inputs="courses",
           where=f"{A}protocol_setting.py:estimand", source=ESTIMAND),
    define("protocols.plan", "registered sha256 item people left_out covariate sensitivity state", "what was planned, "
           "when, and what became of it", "each word of the plan since the registration from which all later ones hold "
           "it; tests loaded: test days with a value in the store by then", inputs="courses gains",
           where=f"{A}planned.py:planned {A}plans.py:since pipeline/stages_plan.py:register", source=ESTIMAND),
    define("protocols.plan", "contrast_cmh2o p_value p_holm family_size", "the contrasts that the plan names",
           "as any other contrast of the page; p by Holm within the planned family", inputs="model",
           where=f"{A}planned.py:read", settings=MODEL, source=f"{KENWARD}; Holm 1979, Scand J Stat 6:65"),
    define("protocols.training", "people prescribed_sessions_per_week done_sessions_per_week "
           "prescribed_breaths_per_week done_breaths_per_week planned_weeks target_band_low target_band_high "
           "not_recorded", "what was trained: prescribed beside done", "medians over people", inputs="courses "
           "client_weeks prescriptions", where=f"{A}protocol_setting.py:training"),
    define("protocols.compared", "stay leave", "who is compared", "as quarter.counted, by protocol",
           inputs="courses gains model", where=f"{A}people.py:counted"),
    define("protocols.alike", "mean sd smd share_pct people", "whether the groups are alike at the start",
           "standardised difference = |a - b| / root of the mean variance", inputs="courses",
           where=f"{A}protocol_setting.py:alike", source="Austin 2009, Stat Med 28:3083", unit="as the covariate"),
    define("protocols.overlap", "people separable", "whether the protocols meet at the same sites", "people by "
           "site and protocol", inputs="courses", where=f"{A}protocol_setting.py:overlap",
           settings="site_overlap_people site_overlap_sites"),
    define("protocols.fitted", "formula fit_state rung people tests rows_without_dose mean_term mean_term_se "
           "mean_term_df residual_sd_cmh2o log_likelihood random_sd_cmh2o icc random_correlation taken state",
           "the model that was fitted", "REML estimates of the mixed model; n of a term is everybody in the model, or "
           "those of the level that it names where they are few; from sums alone: whom the plan takes", inputs="model",
           where=f"{A}models.py:build pipeline/stats/mixed.py:fit_mixed", settings=MODEL, source=KENWARD),
    define("protocols.difference", "protocol_gain_cmh2o protocol_gain_curve_cmh2o difference_cmh2o difference_80_cmh2o "
           "difference_50_cmh2o difference_adjusted_cmh2o baseline_handling p_value p_holm df "
           "family_size difference_per_sdc95 smallest_worthwhile_cmh2o site_time "
           "not_separable state", "how the gains of two protocols differ at the same share of dose",
           "contrast of marginal means at c'b +/- t(KR df) SE; p by Holm within the family, adjusted interval at "
           "1 - 0.05 / family size; the baseline is handled as people were assigned", inputs="model",
           where=f"{A}protocol_models.py:difference {A}baselines.py:handling", settings=f"{MODEL} "
           "mip_worthwhile_cmh2o mep_worthwhile_cmh2o rule_uses_measured_value",
           source=f"{KENWARD}; Holm 1979, Scand J Stat 6:65"),
    *(define(f"protocols.{section}", "partial_r2_pct robustness_value_pct robustness_value_95_pct", "what something "
             "unmeasured would have to account for, in both the term and the outcome, to bring the estimate (or its 95 "
             "% interval) to 0",
             "f = |t| / sqrt(df); R2 = f^2 / (1 + f^2); RV = (sqrt(f^4 + 4 f^2) - f^2) / 2; for the "
             "interval f less t_crit / sqrt(df - 1)", inputs="model", where="pipeline/stats/unmeasured.py:robustness",
             settings=MODEL, source="Cinelli and Hazlett 2020, J R Stat Soc B 82:39")
      for section in ("difference", "dose_response")),
    define("protocols.difference", "hedges_g", "the difference in SDs of one person's observed pressure",
           "J x contrast / sqrt(level variance + residual variance)", inputs="model",
           where="pipeline/stats/standardised.py:standardised_effect",
           source="Pustejovsky, Hedges and Shadish 2014, J Educ Behav Stat 39:368"),
    define("protocols.dose_response", "dose_per_10_points_cmh2o dose_if_unlogged_none_cmh2o "
           "dose_if_unlogged_done_cmh2o effort_per_10_points_cmh2o partial_gain_cmh2o adherence_decile_pct",
           "gain that goes with dose and effort", "coefficients of D (past only), between, within, E x 10 points",
           inputs="model", where="sql/frames/model.sql pipeline/analyse/protocol_models.py:dose_response",
           settings=MODEL, source=KENWARD),
    define("protocols.dose_response", "lead_test_cmh2o lead_test_p lead_test_power between_within_equal_p headline "
           "state", "whether an association of dose may be headlined", "coefficient of the NEXT interval's dose; all "
           "three forms must agree", inputs="model", where=f"{A}association.py:association"),
    define("protocols.believable", "residual_quantile_cmh2o client_quantile_cmh2o observed_cmh2o fitted_cmh2o "
           "residual_sd_by_level_cmh2o state", "whether the model is believable", "quantiles and means of residuals",
           inputs="model", where=f"{A}protocol_models.py:believable"),
    define("protocols.missing_outcome", "lacks_outcome baseline_cmh2o adherence_pct",
           "who has no 12-week test", "shares and means", inputs="courses gains model",
           where=f"{A}missing.py:missing_outcome"),
    *SENSITIVITY,
)  # fmt: skip
LIST = (
    define("stalled.how_many", "people stalled_people flagged_pct false_falling_pct state", "people by state, and how "
           "often the rule errs", "counts; shares from a simulation", inputs="model gains client_quarters",
           where="pipeline/stats/stalled_frames.py:judge_clients pipeline/stats/stalled_flags.py:flagged_shares",
           settings=f"{STALLED} {TARGETS}"),
    define("stalled.worklist", "state order slope gain probability_below_target power_if_flat tests_since next_test_on",
           "state: falling, stalled, levelled off, improving, can't tell yet, not assessable",
           "gain axis P(G - L < target), slope axis b +/- z SE; one look a quarter", inputs="model gains courses",
           where="pipeline/stats/stalled_frames.py:judge_clients", settings=f"{STALLED} {TARGETS}", unit="rank"),
    define("stalled.worklist", "reason question adherence logged usual_effort high_dose", "reasons before blame, "
           "questions, dose and effort in the window", "shares over the weeks of the slope window",
           inputs="client_weeks test_days pauses events instruments", where="pipeline/stats/reasons.py:reasons",
           settings="logged_share_for_dose_reason low_adherence_pct over_dose_pct quiet_days_after_event"),
    define("stalled.worklist", "test_value fitted site setting_in setting_out effort weekly_adherence pause event",
           "the series behind a card", "as recorded, a value a week or a test; fitted: the person's own curve",
           inputs="test_days client_weeks pauses events model", where=f"{A}stalled_series.py:add_training_series",
           unit="week"),
    define("stalled.predictions", "prediction_cmh2o", "what the model expects of the next test",
           "person's own curve carried on; interval of one further test", inputs="model courses",
           where=f"{A}predictions.py:foreseen"),
    define("stalled.ledger", "reviews_kept people looked_at first_listed standing off_the_list listed_again "
           "looked_at_on", "what became of everybody ever listed", "states of the reviews kept, in order of quarters",
           inputs="reviews", where=f"{A}ledger.py:ledger sql/frames/reviews.sql"),
    define("queries.how_many", "open", "questions to the sites that are open", "counts by cause and site; a question "
           "may stand for several rows", inputs="queries", where=f"sql/frames/queries.sql {A}fix_list.py:fix_list"),
    define("queries.asked", "question query", "what to ask a site, what was done meanwhile, and each place it is about",
           "one row a query, in the order of cause, site and client", inputs="queries",
           where=f"sql/frames/queries.sql {A}fix_list.py:fix_list"),
)  # fmt: skip
TRADE = (
    define("", "dose", "D: weeks' worth of the prescribed sessions done before the test, in 12-week units",
           "sum over intervals that end before the test of (share done) x days / 84", inputs="model",
           where="sql/quantities/interval_doses.sql sql/frames/model.sql"),
    define("", "effort", "E: the same with the share of rated sessions in the band less a reference share",
           "sum of (in-band share - reference) x days / 84", inputs="model", where="sql/quantities/interval_doses.sql "
           "sql/frames/model.sql", settings="effort_reference_share"),
    define("", "gain", "pressure at a later comparable test less the baseline of the same series",
           "later - baseline, cmH2O", inputs="gains", where="sql/quantities/gains.sql sql/quantities/baselines.sql"),
    define("", "state", "where a client stands on the gain axis and the slope axis", "see stalled.worklist.state",
           inputs="model gains", where="pipeline/stats/stalled_frames.py:judge_clients",
           settings=f"{STALLED} {TARGETS}"),
    define("", "baseline", "last comparable test of the baseline window", "one a course and pressure", inputs="gains",
           where="sql/quantities/baselines.sql", settings="baseline_days_before baseline_days_after"),
    define("", "series", "tests that may be compared: same metric, volume, mouthpiece and posture",
           "a new series begins where one of them changes", inputs="test_days", where="sql/quantities/series.sql"),
)  # fmt: skip

EVERY = (*CLINIC, *SERVICE, *RESEARCH, *LIST, *TRADE)
DEFINITIONS: dict[str, Definition] = {name: d for d in EVERY for name in d.names}
"""Name ("quarter.gains.gain_cmh2o", "dose") to definition."""


def defined(key: str) -> Definition | None:
    """The definition of a result's key, of report.section.statistic, or of a word; None if there is none."""
    return DEFINITIONS.get(key.partition("[")[0].strip())
