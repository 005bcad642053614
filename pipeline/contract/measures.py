"""Input tables of what was done and measured: sessions, weekly logs, tests, other outcomes, instruments."""

from __future__ import annotations

from pipeline.contract.columns import Column, EmptyWhen, NeededUnless, NeededWith, RangeByCode, Table, WholeWhen
from pipeline.contract.people import EASE_REASONS, YES_NO, client_key, code, day, label, number, whole

MOUTHPIECES = ("flanged", "tube", "mask", "tracheostomy", "other")
EFFORT_SCALES = ("nrs_0_10", "cr10")

#: Largest believable magnitude, 400 cmH2O, in each unit (domain judgement: beyond any published healthy value).
PRESSURE_RANGES = (("cmh2o", 0.0, 400.0), ("kpa", 0.0, 39.3), ("mmhg", 0.0, 295.0), ("hpa", 0.0, 393.0))

SESSIONS = Table(
    "sessions",
    "one training session",
    (
        client_key(),
        day("session_on", "day of the session", required=True),
        code("slot", "part of the day", "am", "pm", "other"),
        whole("sets_done", "sets done", 0, 60, "sets"),
        whole("breaths_done", "breaths done", 0, 500, "breaths"),
        number("inhale_setting", "resistance setting used, breathing in", 0, 100, "setting"),
        number("exhale_setting", "resistance setting used, breathing out", 0, 100, "setting"),
        number("effort_rating", "effort of the session", 0, 10, "0-10"),
        code("effort_scale", "scale of the rating", *EFFORT_SCALES),
        whole("wellbeing_before", "0 worst to 10 best", 0, 10, "0-10"),
        code("supervised", "a clinician was there", *YES_NO),
        code("stopped_early", "the session was broken off", *YES_NO),
        code("stop_reason", "why it was broken off", "breathless", "dizzy", "pain", "cough", "fatigue", "time",
             "equipment", "other"),
        code("ease_reason", "why the setting was lower than prescribed", *EASE_REASONS),
        number("spo2_min_pct", "lowest oxygen saturation seen", 40, 100, "%"),
        code("mouthpiece", "mouthpiece used", *MOUTHPIECES),
    ),
    ("client_key", "session_on", "slot"),
    (WholeWhen("whole_on_nrs", "effort_rating", "effort_scale", ("nrs_0_10",), "a whole number on the 0-10 scale"),),
)

WEEKLY_LOGS = Table(
    "weekly_logs",
    "a diary week, where single sessions are not known",
    (
        client_key(),
        day("week_from_on", "first day of the diary week", required=True),
        code("returned", "what became of the diary", "yes", "lost", "not_issued", required=True),
        whole("days_trained", "days with training", 0, 7, "days"),
        whole("sessions_done", "sessions done", 0, 42, "sessions"),
        whole("breaths_done", "breaths done", 0, 5000, "breaths"),
        number("usual_effort", "usual effort of the week", 0, 10, "0-10"),
        code("effort_scale", "scale of the rating", *EFFORT_SCALES),
    ),
    ("client_key", "week_from_on"),
    (
        EmptyWhen(
            "nothing_in_a_lost_diary", ("days_trained", "sessions_done", "breaths_done", "usual_effort"), "returned",
            ("lost", "not_issued"), "no counts in a diary that did not come back",
        ),
        WholeWhen("whole_on_nrs", "usual_effort", "effort_scale", ("nrs_0_10",), "a whole number on the 0-10 scale"),
    ),
)

TESTS = Table(
    "tests",
    "one EFFORT of a pressure test",
    (
        client_key(),
        day("tested_on", "day of the test", required=True),
        code("pressure", "maximal inspiratory or expiratory pressure", "mip", "mep", required=True),
        whole("effort_no", "number of the effort on that day", 1, 30, "", required=True),
        Column("value", "number", "pressure reached, in `unit`; empty when the test was not done", True, True,
               "as `unit`", -400, 400),
        Column("unit", "code", "unit of `value`; may be empty when the test was not done", True, True,
               codes=("cmh2o", "kpa", "mmhg", "hpa")),
        code("metric", "how the value was read", "plateau_1s", "peak"),
        code("lung_volume", "where the effort began", "rv", "frc", "tlc"),
        code("posture", "body position", "seated", "standing", "semi_recumbent", "supine"),
        code("mouthpiece", "mouthpiece used", *MOUTHPIECES),
        label("instrument", "the site's own label of the manometer"),
        code("acceptable", "the effort met the site's criteria", *YES_NO),
        code("efforts_recorded", "whether every effort was kept", "all", "best_only"),
        code("same_tester", "tested by the same person as before", *YES_NO),
        code("test_reason", "why it was tested", "start", "scheduled", "symptoms", "end"),
        code("not_done_reason", "why there is no value", "too_ill", "no_lip_seal", "not_understood", "declined",
             "equipment"),
    ),
    ("client_key", "tested_on", "pressure", "effort_no"),
    (
        NeededUnless("value_or_reason", "value", "not_done_reason", "a value, or a reason why there is none"),
        NeededWith("unit", "value", "a unit beside every value"),
        RangeByCode("believable", "value", "unit", PRESSURE_RANGES, "a pressure above 0 and up to 400 cmH2O",
                    size_only=True, above_zero=True),
        RangeByCode("mep_above_zero", "value", "pressure", (("mep", 0.0, 400.0),), "an expiratory pressure above 0",
                    above_zero=True),
    ),
    needed=True,
)

#: Ranges of the other outcomes: wide fences against slips of the pen, not clinical limits (our choice, no source).
OUTCOME_RANGES = (
    ("peak_cough_flow_l_min", 0.0, 1500.0), ("six_minute_walk_m", 0.0, 1200.0), ("mmrc_grade", 0.0, 4.0),
    ("maximum_phonation_s", 0.0, 120.0), ("oral_intake_level", 1.0, 7.0), ("goal_attainment_t", 0.0, 100.0),
)

OTHER_OUTCOMES = Table(
    "other_outcomes",
    "one measurement",
    (
        client_key(),
        day("measured_on", "day of the measurement", required=True),
        code("measure", "what was measured; its name carries the unit", *(m for m, _, _ in OUTCOME_RANGES),
             required=True),
        number("value", "the measurement, in the unit its name carries", 0, 1500, "as `measure`", required=True),
    ),
    ("client_key", "measured_on", "measure"),
    (
        RangeByCode("in_range_of_measure", "value", "measure", OUTCOME_RANGES, "a value in the range of its measure"),
        WholeWhen("whole_grade", "value", "measure", ("mmrc_grade", "oral_intake_level"), "a whole grade"),
    ),
)

INSTRUMENTS = Table(
    "instruments",
    "something done to a manometer",
    (
        label("instrument", "the label used in `tests`", required=True),
        label("site", "the site's surrogate label", required=True),
        day("event_on", "day it was done", required=True),
        code("what", "what was done", "calibrated", "repaired", "replaced", required=True),
    ),
    ("instrument", "site", "event_on", "what"),
)
