"""Input tables about people and their courses: clients, episodes, prescriptions, pauses, events, reviews."""

from __future__ import annotations

from pipeline.contract.columns import Column, InOrder, Table

FIRST_DAY, LAST_DAY = "1990-01-01", "2100-12-31"
YES_NO = ("yes", "no", "unknown")
EASE_REASONS = ("symptom_day", "acute_illness", "return_after_break", "side_effect", "other")


def client_key() -> Column:
    return Column("client_key", "key", "random surrogate of the person", required=True, empty_ok=False)


def day(name: str, meaning: str, *, required: bool = False) -> Column:
    return Column(name, "day", meaning, required, not required, low=FIRST_DAY, high=LAST_DAY)


def code(name: str, meaning: str, *codes: str, required: bool = False) -> Column:
    return Column(name, "code", meaning, required, not required, codes=codes)


def whole(name: str, meaning: str, low: int, high: int, unit: str, *, required: bool = False) -> Column:
    return Column(name, "whole", meaning, required, not required, unit, low, high)


def number(name: str, meaning: str, low: float, high: float, unit: str, *, required: bool = False) -> Column:
    return Column(name, "number", meaning, required, not required, unit, low, high)


def label(name: str, meaning: str, *, required: bool = False) -> Column:
    return Column(name, "label", meaning, required, not required)


CLIENTS = Table(
    "clients",
    "a person",
    (
        client_key(),
        code("sex", "sex used by the reference equations", "female", "male", "other", "unknown", required=True),
        whole("age_years", "age at the first episode; 90 stands for 90 or over", 4, 90, "years", required=True),
        number("height_cm", "standing height", 50, 250, "cm"),
        number("weight_kg", "body weight", 10, 400, "kg"),
        code(
            "condition_group", "why the person trains, in broad groups",
            "copd", "other_obstructive", "neuromuscular", "stroke", "spinal_cord_injury", "parkinson",
            "post_intensive_care", "post_viral", "heart_failure", "voice_or_swallowing", "head_and_neck", "athlete",
            "other", "unknown",
        ),
        code("respiratory_support", "support in daily life", "none", "oxygen", "noninvasive", "invasive", "unknown"),
        code(
            "caution", "a caution known to the clinician", "none_known", "cardiac", "pneumothorax_history",
            "recent_surgery", "raised_pressure_risk", "progressive_disease", "ear_or_sinus", "other",
        ),
        code("research_consent", "the person agreed to research use", *YES_NO),
    ),
    ("client_key",),
    needed=True,
)

EPISODES = Table(
    "episodes",
    "one course of training",
    (
        client_key(),
        whole("episode_no", "1 for the first course", 1, 99, "", required=True),
        label("site", "the site's surrogate label", required=True),
        label("protocol", "the dosing protocol's name", required=True),
        day("from_on", "first day of the course", required=True),
        code("assigned_by", "how the protocol was chosen", "clinician", "written_rule", "randomised", "client_choice"),
        code("aim", "what the course is for", "raise", "hold", "slow_a_fall"),
        whole("planned_weeks", "planned length", 1, 104, "weeks"),
        day("to_on", "last day of the course; empty while it runs"),
        code(
            "end_reason", "why it ended", "completed", "goal_reached", "illness", "moved_site", "withdrew", "lost",
            "died", "other",
        ),
        whole("continues_episode_no", "a mover's earlier course", 1, 99, ""),
        number("goal_mip_cmh2o", "the clinician's own goal for MIP", 1, 300, "cmH2O"),
        number("goal_mep_cmh2o", "the clinician's own goal for MEP", 1, 400, "cmH2O"),
        code(
            "referral_reason", "what the referrer asked for", "breathlessness", "cough", "swallowing", "voice",
            "weaning", "surgery", "performance", "other",
        ),
        code("other_rehabilitation", "another rehabilitation runs beside this one", *YES_NO),
    ),
    ("client_key", "episode_no"),
    (InOrder("not_before_start", "from_on", "to_on", "a last day on or after the first"),),
    needed=True,
)

PRESCRIPTIONS = Table(
    "prescriptions",
    "the dose from a day on, until the next row",
    (
        client_key(),
        day("from_on", "first day the dose holds", required=True),
        whole("sets_per_session", "sets in a session", 1, 20, "sets", required=True),
        whole("breaths_per_set", "breaths in a set", 1, 100, "breaths", required=True),
        whole("sessions_per_day", "sessions on a training day", 1, 6, "sessions", required=True),
        whole("days_per_week", "training days in a week", 1, 7, "days", required=True),
        whole("rest_s", "rest between sets", 0, 1800, "s"),
        number("inhale_setting", "resistance setting for breathing in", 0, 100, "setting"),
        number("exhale_setting", "resistance setting for breathing out", 0, 100, "setting"),
        number("inhale_load_cmh2o", "load for breathing in", 0, 300, "cmH2O"),
        number("exhale_load_cmh2o", "load for breathing out", 0, 300, "cmH2O"),
        code("device_class", "kind of resistance", "threshold", "flow_resistive"),
        number("effort_low", "foot of the target effort band, included", 0, 10, "0-10"),
        number("effort_high", "top of the target effort band, included", 0, 10, "0-10"),
        code("decided_by", "who chose this dose", "clinician", "client", "other"),
        code(
            "change_reason", "why the dose changed", "start", "progression", "symptom_day", "acute_illness",
            "return_after_break", "side_effect", "other",
        ),
        day("recorded_on", "day the change was written down"),
    ),
    ("client_key", "from_on"),
    (InOrder("band_in_order", "effort_low", "effort_high", "a band whose foot is not above its top"),),
)

PAUSES = Table(
    "pauses",
    "training held",
    (
        client_key(),
        day("from_on", "first day held", required=True),
        day("to_on", "last day held; empty while the pause is open"),
        code(
            "reason", "why", "acute_illness", "hospital", "clinician_hold", "travel", "equipment", "personal",
            "other", required=True,
        ),
    ),
    ("client_key", "from_on", "reason"),
    (InOrder("not_before_start", "from_on", "to_on", "a last day on or after the first"),),
)

EVENTS = Table(
    "events",
    "something untoward",
    (
        client_key(),
        day("event_on", "day it happened", required=True),
        code(
            "kind", "what happened", "chest_pain", "syncope_or_dizziness", "pneumothorax", "haemoptysis",
            "respiratory_infection", "hospital_admission", "ear_or_sinus", "headache", "death", "other",
            required=True,
        ),
        code("serious", "judged serious", *YES_NO),
        code("judged_related", "judged related to training", *YES_NO),
        code("action", "what was done with training", "none", "eased", "paused", "stopped"),
    ),
    ("client_key", "event_on", "kind"),
)

REVIEWS = Table(
    "reviews",
    "a listed client looked at",
    (
        client_key(),
        day("reviewed_on", "day the team looked at the client", required=True),
        code(
            "outcome", "what came of it", "plan_changed", "plan_kept", "test_to_be_repeated", "records_to_be_mended",
            "referred_on", "course_ended", "other",
        ),
    ),
    ("client_key", "reviewed_on"),
)
