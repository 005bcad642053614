"""Definitions of what the common part and the clinic's quarter print."""

from __future__ import annotations

from pipeline.analyse.definition import define

A = "pipeline/analyse/"
WINDOW = "window_12_low_weeks window_12_high_weeks"
RUNGS = "min_clients_rung_1 min_four_tests_rung_1 min_per_protocol_rung_1 min_clients_rung_2 min_clients_rung_3"
MODEL = "time_knots_3_weeks time_knots_2_weeks sites_random_from effort_reference_share"
KENWARD = "Kenward and Roger 1997, Biometrics 53:983; REML"
WORDS = "the word stands in the row"

CLINIC = (
    define("common.data", "data_from_on data_until_on quarter", "first and last day the data speak for; the quarter",
           "day of the earliest and latest thing done, tested or noted", inputs="courses", unit="day",
           where=f"sql/settled/span.sql {A}can_answer.py:data", settings="data_until_on lost_contact_days"),
    define("common.data", "people courses test_days weeks_logged", "how much there is", "counts of rows",
           inputs="courses test_days client_weeks", where=f"{A}can_answer.py:data"),
    define("common.can_answer", "rung rung_reason fit_state people_in_frame people_with_3_tests people_with_4_tests "
           "people_with_under_3_tests people_with_just_3_tests people_past_12_weeks state",
           "how rich a model this cohort can carry, R1 (richest) to R4", "counts against the thresholds of the rungs",
           inputs="model", where=f"{A}gate.py:gate", settings=RUNGS, unit="rung"),
    define("common.can_answer", "detectable_gain_cmh2o detectable_protocol_difference_cmh2o "
           "detectable_dose_per_10_points_cmh2o detectable_effort_per_10_points_cmh2o "
           "detectable_between_per_10_points_cmh2o detectable_within_per_10_points_cmh2o",
           "smallest difference seen with 80 % power, from the design alone", "SE x the noncentrality that a two-sided "
           "5 % test needs for 80 % (2.80 in a large cohort); SE and df from X and an assumed V",
           inputs="model", where=f"{A}gate.py:gate pipeline/stats/planned.py:planned", source=KENWARD,
           settings="planning_level_sd_cmh2o planning_slope_sd_cmh2o "
           "mip_sem_cmh2o mep_sem_cmh2o"),
    define("common.can_answer", "block_vif answer", "whether a question can be answered, roughly, or not",
           "detectable difference and variance inflation of a block against the widest useful ones", inputs="model",
           where=f"{A}gate.py:gate", settings="widest_block_vif widest_protocol_difference_cmh2o "
           "widest_per_10_points_cmh2o answer_share"),
    define("quarter.who", "people", "people with a session, a diary week or a test in the period", "each counted once",
           inputs="client_quarters courses", where=f"{A}people.py:who"),
    define("quarter.counted", "stay leave", "who is in the figures on pressure, and who leaves at which step",
           "stay[k-1] = stay[k] + leaves[k]", inputs="courses gains model", where=f"{A}people.py:counted",
           settings=WINDOW),
    define("quarter.records", "filled", "share of expected entries that are filled", "100 filled / expected",
           inputs="completeness", where="sql/frames/completeness.sql"),
    define("quarter.records", "rows_read rows_kept rows_set_aside rows_unchanged set_aside queries state",
           "what became of the rows read, and the questions to the sites", "counts by file, rule and cause",
           inputs="files set_aside queries", where=f"sql/frames/queries.sql {A}records.py:records"),
    define("quarter.safety", "events early_stops serious related in_set_aside state",
           "untoward events and sessions stopped early, before every filter", "counts of rows",
           inputs="safety", where="sql/frames/safety.sql"),
    define("quarter.dose", "session_adherence_pct session_adherence_unpaused_pct breath_adherence_pct "
           "breath_adherence_unpaused_pct session_adherence_low_pct session_adherence_high_pct logged_pct",
           "dose: share of the prescribed sessions (or breaths) done in the weeks that are known, a median of people",
           "100 done / prescribed; unpaused leaves out documented pauses; low and high: weeks not logged as "
           "none and as fully done", inputs="client_quarters", where="sql/quantities/client_quarters.sql",
           settings="usual_dose_assumed"),
    define("quarter.dose", "people no_prescription people_paused people_at_week adherence_by_week_pct",
           "people by share of dose; share by week of the course", "counts; medians over people of 100 done / "
           "prescribed", inputs="client_quarters client_weeks", where=f"{A}training.py:dose"),
    define("quarter.effort", "effort_share_pct effort_share_by_week_pct in_band_pct people people_by_in_band "
           "people_rated", "effort: share of a person's rated sessions below, in and above the target band, "
           "edges in it",
           "100 in band / rated; a person counts once", inputs="client_weeks client_quarters",
           where=f"sql/quantities/session_marks.sql {A}training.py:effort", settings="usual_effort_low "
           "usual_effort_high"),
    define("quarter.settings", "weeks eased_sessions setting_median", "how resistance settings moved",
           "weeks with a step up, unchanged, eased; medians by device class", inputs="client_weeks client_quarters",
           where=f"sql/quantities/week_sessions.sql {A}training.py:settings_moved", unit="setting"),
    define("quarter.gains", "gain_cmh2o gain_curve_cmh2o", "gain: mean change of pressure from baseline, by the model",
           "curve at that week less the curve at week 0, at the mean dose and effort", inputs="model",
           where=f"{A}contrasts.py:Reader {A}gains.py:gains", settings=MODEL, source=KENWARD),
    define("quarter.gains", "raw_gain_cmh2o middle_80_cmh2o baseline_mean_cmh2o at12_mean_cmh2o baseline_sd_cmh2o "
           "change_sd_cmh2o correlation_before_after percent_change", "gain as measured: test nearest 12 weeks less "
           "baseline", "mean over people; 10th and 90th percentile from 30 people on", inputs="gains",
           where=f"sql/quantities/gains.sql {A}gains.py:gains", settings=WINDOW),
    define("quarter.gains", "change_per_baseline_sd change_per_change_sd", "change in units of a spread",
           "mean change / SD at the baseline, or / SD of the changes", inputs="gains", where=f"{A}gains.py:gains",
           source="Morris 2008, Organ Res Methods 11:364"),
    define("quarter.gains", "pct_predicted_before pct_predicted_after", "pressure as % of predicted",
           "100 measured / predicted by the first equation that covers the person", inputs="gains",
           where="sql/quantities/gains.sql"),
    define("quarter.gains", "sem_cmh2o sdc95_cmh2o", "measurement error of one test, and smallest change beyond it",
           "SDC95 = 1.96 x sqrt(2) x SEM; SEM = residual SD of the model, else of repeat tests, else the published one",
           inputs="model test_days", where=f"{A}effects.py:measurement_error",
           settings="mip_sem_cmh2o mep_sem_cmh2o min_repeat_people repeat_days"),
    define("quarter.gains", "sem_repeats_cmh2o sdc95_repeats_cmh2o repeat_rise_cmh2o", "measurement error from the "
           "cohort's own repeat tests, and how far the second of two lies above the first",
           "SEM = sqrt(sum of squared differences / 2 pairs), interval by chi-squared on pairs; SDC95 = 1.96 x sqrt(2) "
           "x SEM", inputs="test_days", where=f"{A}repeats.py:repeats pipeline/stats/reliability.py:repeatability",
           settings="min_repeat_people repeat_days familiar_tests",
           source="Bland and Altman 1999, Stat Methods Med Res 8:135"),
    define("quarter.gains", "learning_cmh2o gain_less_learning_cmh2o first_ever_baseline",
           "rise by repeated testing alone, where the baseline was the first test ever",
           "none, half or all of a fixed curve taken off", inputs="model gains", where=f"{A}fits.py:learned",
           settings="familiar_tests", source="Larson 1993, Chest 104:448"),
    define("quarter.gains", "sham_arm_rise_cmh2o state", "rise of people in sham arms of trials", "range of published "
           "means by pressure and population", inputs="", where="pipeline/reference/sham_arms.py:ShamArm",
           source="Hill 2006; del Corral 2022"),
    define("quarter.gain_apart", "measured_cmh2o part_cmh2o efforts_known assigned state", "what the measured 12-week "
           "gain may be made of beside training, each part from its lowest to its highest figure, and what is left",
           "learning: none, half, all of the curve; regression: SEM^2 / (SD^2 + SEM^2) x distance from those picked "
           "from; survivors: model mean of the tested less all who started, to the untested gaining nothing; efforts: "
           "best of n, and the model's figure; instruments: steps x share across; left: gain less all parts at their "
           "ends together",
           inputs="gains model courses instruments test_days", where=f"{A}gain_apart.py:gain_apart "
           f"{A}gain_parts.py:Part pipeline/stats/selection.py:best_of_sd",
           settings="entry_below_mip_cmh2o entry_below_mep_cmh2o rule_uses_measured_value "
           "planning_level_sd_cmh2o window_12_high_weeks",
           source="Larson 1993, Chest 104:448; Barnett 2005, Int J Epidemiol 34:215; Tippett 1925, Biometrika 17:364"),
    define("quarter.past_error", "sdc95_cmh2o people zone gain_quantile_cmh2o", "people whose measured gain "
           "passes error",
           "gain above SDC95, within it, below minus SDC95", inputs="gains", where=f"{A}past_error.py:past_error"),
    define("quarter.past_error", "expected_past_sdc_pct expected_past_target_pct", "share whose true gain passes a "
           "threshold", "mean over people of P(true gain > threshold), Student's t over people, model held fixed",
           inputs="model gains", where=f"{A}effects.py:true_gains"),
    define("quarter.past_error", "by_chance_pct target_by_chance_pct target_cmh2o", "share that error and learning "
           "alone would put past it", "normal tail at the threshold, learning at none, half, all", inputs="gains",
           where=f"{A}past_error.py:past_error", settings="mip_target_gain_cmh2o mep_target_gain_cmh2o"),
    define("quarter.model", "headline dose_per_10_points_cmh2o effort_per_10_points_cmh2o state", "what goes with the "
           "gain, where the headline rule allows it", "coefficient of past dose D (or effort E) x 10 points of a share",
           inputs="model", where=f"{A}association.py:association sql/frames/model.sql", settings=MODEL, source=KENWARD),
    define("quarter.model", "varying_cmh2o varying_df", "what goes with the pressure at a test beside dose and effort: "
           "easing, pauses, illness and wellbeing since the last test, weeks since the last session",
           "coefficient in the primary model with these terms; 0 at the baseline, past only; df of Kenward-Roger",
           inputs="model", where=f"{A}varying.py:varying sql/quantities/intervals.sql sql/frames/model.sql",
           settings=MODEL, source=KENWARD),
    define("quarter.over_time", "median_gain12_cmh2o median_session_adherence_pct median_in_band_pct chart_kind limits "
           "signals signal false_signal_pct run_chart longest_run crossings median_of_quarters aim_cmh2o aim_reached "
           "state", "one point a quarter, judged by rules stated beforehand",
           "none under 8 quarters, run chart under 12, then XmR with limits fixed on 12",
           inputs="gains client_quarters", where=f"{A}over_time.py:over_time "
           "pipeline/stats/control_charts.py:xmr_limits",
           source="Western Electric 1956; Anhoej and Olesen 2014, PLoS ONE", unit="quarter"),
    define("quarter.decisions", "note decided followed measure_then measure_now state", "the clinic's dated notes, "
           "what earlier reviews decided, the measure that each decision names in its quarter and now", "words of "
           "annotations.toml; medians with quartiles, shares with Wilson intervals, of the sites that are named",
           inputs="annotations gains client_quarters completeness", where=f"{A}decisions.py:decisions "
           "pipeline/contract/annotations.py:parsed"),
    define("quarter.function", "people with_both start later change mip_gain_of_them_cmh2o without_mip_gain graded "
           "important_change past_important_change under_level state", "other measurements at the start and at "
           "12 weeks",
           "mean of later less start over people who have both", inputs="other_outcomes gains",
           where=f"sql/quantities/outcome_roles.sql {A}function.py:function", settings=f"{WINDOW} baseline_days_before "
           "baseline_days_after"),
    define("quarter.instruments", "step_cmh2o tests_after paired_difference_cmh2o last_calibrated state",
           "step of the tests when a manometer was repaired, replaced or came in under a new label",
           "coefficient of 'after the change, less the person's own share' in the model; mean same-day difference",
           inputs="model test_days instruments instrument_pairs", where=f"{A}instrument_watch.py:fitted_steps",
           source=KENWARD),
    define("quarter.sites", "people logged_pct session_adherence_pct in_band_pct raw_gain_cmh2o expected_gain_cmh2o",
           "sites side by side, without a rank", "as in the whole; expected from the model for the site's people",
           inputs="client_quarters gains model", where=f"{A}sites.py:sites"),
    define("quarter.sites", "filled_pct set_aside open_questions", "records of a site: entries filled of those "
           "expected, rows set aside, questions open", "sums over items; counts",
           inputs="completeness set_aside queries",
           where=f"{A}sites.py:sites sql/frames/completeness.sql", unit="rows"),
    define("quarter.sites", "funnel_sites funnel_centre funnel_spread funnel_by_chance_pct funnel_limits funnel_point",
           "whether a site lies beyond chance: 12-week tests done of those due, and mean gain less what the model "
           "expects of its people", "95 % and 99.8 % limits around all sites together, exact for a share; "
           "widened by tau where ten sites or more differ beyond chance", inputs="completeness gains model",
           where=f"{A}funnels.py:funnels pipeline/stats/funnel.py:funnel_limits", unit="sites",
           settings="small_cell_max",
           source="Spiegelhalter 2005, Stat Med 24:1185 and Qual Saf Health Care 14:347"),
    define("quarter.cautions", "caution checked", "what could make this wrong", WORDS, inputs="courses gains test_days",
           where=f"{A}cautions.py:cautions"),
    define("quarter.made", "setting formula", "settings in force; formula of each model", WORDS, inputs="",
           where="pipeline/settings.py:Settings", unit="none"),
    define("quarter.restated", "last_review printed stands_now moved moved_by headlines_moved rows_since state",
           "how far the headline numbers of the last review moved since, and why", "computed again as of that "
           "quarter's end, less what was printed; program, settings, data in turn", inputs="",
           where=f"{A}restatement.py:restatement"),
    define("quarter.scored", "last_review foreseen tested_since inside_pct test_less_expected_cmh2o brier "
           "brier_of_the_share under_target_since under_baseline_since state", "what the last review foresaw against "
           "the first test since", "share inside the 95 % interval; mean of (probability - outcome) squared",
           inputs="model", where=f"{A}scored.py:scored", settings="mip_target_gain_cmh2o mep_target_gain_cmh2o",
           source="Brier 1950, Mon Weather Rev 78:1"),
)  # fmt: skip
