"""Planted bad rows: each is a copy of a good row with exactly one thing wrong, and the rule that must set it aside."""

from __future__ import annotations

from pipeline.simulate.rows import Row, Rows

Change = dict[str, str | None]

#: table -> (column, rule name after `table.column.`, what is written over the copied row).
BAD_CELLS: dict[str, tuple[tuple[str, str, Change], ...]] = {
    "clients": (
        ("client_key", "key", {"client_key": "no 7"}),
        ("sex", "code", {"sex": "F"}),
        ("age_years", "range", {"age_years": "203"}),
        ("age_years", "number", {"age_years": "sixty"}),
        ("age_years", "needed", {"age_years": None}),
        ("height_cm", "range", {"height_cm": "1.72"}),
        ("research_consent", "code", {"research_consent": "y"}),
    ),
    "episodes": (
        ("site", "label", {"site": "mill/2"}),
        ("site", "needed", {"site": None}),
        ("from_on", "day", {"from_on": "14/03/2025"}),
        ("aim", "code", {"aim": "improve"}),
        ("planned_weeks", "range", {"planned_weeks": "500"}),
        ("to_on", "not_before_start", {"to_on": "2023-01-02"}),
        ("goal_mip_cmh2o", "range", {"goal_mip_cmh2o": "0"}),
    ),
    "prescriptions": (
        ("sets_per_session", "range", {"sets_per_session": "0"}),
        ("breaths_per_set", "number", {"breaths_per_set": "2x10"}),
        ("from_on", "day", {"from_on": "2025-02-30"}),
        ("days_per_week", "range", {"days_per_week": "8"}),
        ("device_class", "code", {"device_class": "spring"}),
        ("effort_high", "band_in_order", {"effort_low": "7", "effort_high": "5"}),
    ),
    "sessions": (
        ("session_on", "day", {"session_on": "yesterday"}),
        ("session_on", "range", {"session_on": "1025-03-04"}),
        ("slot", "code", {"slot": "noon"}),
        ("sets_done", "number", {"sets_done": "2 sets"}),
        ("breaths_done", "range", {"breaths_done": "900"}),
        ("effort_rating", "range", {"effort_rating": "14", "effort_scale": "nrs_0_10"}),
        ("effort_rating", "whole_on_nrs", {"effort_rating": "6.5", "effort_scale": "nrs_0_10"}),
        ("effort_scale", "code", {"effort_scale": "borg_6_20"}),
        ("stopped_early", "code", {"stopped_early": "maybe"}),
        ("spo2_min_pct", "range", {"spo2_min_pct": "0.93"}),
        ("client_key", "needed", {"client_key": None}),
    ),
    "weekly_logs": (
        ("returned", "code", {"returned": "late"}),
        ("days_trained", "range", {"days_trained": "8"}),
        ("sessions_done", "number", {"sessions_done": "a few"}),
        ("sessions_done", "nothing_in_a_lost_diary",
         {"returned": "lost", "days_trained": None, "sessions_done": "4", "breaths_done": None, "usual_effort": None}),
        ("usual_effort", "whole_on_nrs", {"usual_effort": "5.5", "effort_scale": "nrs_0_10"}),
        ("week_from_on", "day", {"week_from_on": "2025-W12"}),
    ),
    "pauses": (
        ("reason", "code", {"reason": "holiday"}),
        ("reason", "needed", {"reason": None}),
        ("to_on", "not_before_start", {"to_on": "2023-01-02"}),
    ),
    "events": (
        ("kind", "code", {"kind": "palpitations"}),
        ("event_on", "day", {"event_on": "20.06.2025"}),
        ("serious", "code", {"serious": "true"}),
    ),
    "tests": (
        ("value", "number", {"value": "6O"}),
        ("value", "number", {"value": "9,1"}),
        ("value", "believable", {"value": "0", "pressure": "mip"}),
        ("value", "believable", {"value": "45", "unit": "kpa", "pressure": "mip"}),
        ("value", "mep_above_zero", {"value": "-60", "unit": "cmh2o", "pressure": "mep"}),
        ("value", "needed", {"value": None}),
        ("not_done_reason", "value_or_reason", {"not_done_reason": "declined"}),
        ("tested_on", "day", {"tested_on": "2025-13-01"}),
        ("tested_on", "range", {"tested_on": "1899-12-31"}),
        ("pressure", "code", {"pressure": "snip"}),
        ("unit", "code", {"unit": "psi"}),
        ("unit", "needed", {"unit": None}),
        ("effort_no", "number", {"effort_no": "three"}),
        ("effort_no", "range", {"effort_no": "31"}),
        ("metric", "code", {"metric": "best"}),
        ("posture", "code", {"posture": "Seated"}),
        ("instrument", "label", {"instrument": "gauge#2"}),
        ("client_key", "key", {"client_key": "no 12"}),
    ),
    "other_outcomes": (
        ("value", "number", {"value": "340m"}),
        ("value", "needed", {"value": None}),
        ("measure", "code", {"measure": "walk"}),
        ("value", "in_range_of_measure", {"measure": "mmrc_grade", "value": "5"}),
        ("value", "whole_grade", {"measure": "mmrc_grade", "value": "2.5"}),
    ),
    "reviews": (
        ("reviewed_on", "day", {"reviewed_on": "last week"}),
        ("outcome", "code", {"outcome": "talked"}),
    ),
    "instruments": (
        ("what", "code", {"what": "cleaned"}),
        ("event_on", "day", {"event_on": "spring 2025"}),
    ),
}

#: Tables in which one good row is written twice.
WRITTEN_TWICE = ("clients", "sessions", "tests", "tests", "weekly_logs", "events", "instruments")


def plant_faults(rows: Rows) -> list[tuple[str, str, str, str]]:
    """Add the bad rows to `rows`; return (tag, table, column, rule) of each. Tags stand in the rows under `tag_`."""
    planted = []
    for table, cells in BAD_CELLS.items():
        good = [r for r in rows[table] if "tag_" not in r and r.get("value", "1") is not None]
        for i, (column, rule, change) in enumerate(cells):
            tag = f"fault-{table}-{i}"
            copied: Row = {**good[(i + 1) * len(good) // (len(cells) + 1)], **change, "tag_": tag}
            if table == "tests" and column != "effort_no":
                copied["effort_no"] = str(20 + i % 10)
            rows[table].append(copied)
            planted.append((tag, table, column, f"{table}.{column}.{rule}"))
    for i, table in enumerate(WRITTEN_TWICE):
        good = [r for r in rows[table] if "tag_" not in r]
        tag = f"twice-{table}-{i}"
        rows[table].append({**good[(i + 1) * len(good) // (len(WRITTEN_TWICE) + 2)], "tag_": tag})
        planted.append((tag, table, "", f"{table}.row.repeated"))
    return planted
