"""What the frames add to the quantities: site of the day, course week, people."""

from __future__ import annotations

import pytest

from pipeline import derive
from tests.sql.rows import Row, column_types, day, picked, run

WHO: Row = {"client_key": "aaaaaaaa", "course_no": 1}
COURSE = WHO | {"site": "mill", "protocol": "p", "from_on": day("2025-01-06"), "week0_on": day("2025-01-08")}
STAYS: list[Row] = [
    {"client_key": "aaaaaaaa", "site": s, "from_on": day(a), "until_on": day(b)}
    for s, a, b in (("mill", "0001-01-01", "2025-01-31"), ("harbour", "2025-02-01", "9999-12-31"))]


def test_whereabouts_cover_all_days_once() -> None:
    rows = [{"client_key": "aaaaaaaa", "episode_no": n, "site": s, "from_on": day(d)}
            for n, s, d in ((1, "mill", "2025-01-06"), (2, "harbour", "2025-02-01"), (3, "orchard", "2025-02-01"))]
    found = run("settled.whereabouts", {"received.episodes": rows})
    assert picked(found, "site", "from_on", "until_on") == [
        ("mill", day("0001-01-01"), day("2025-01-31")), ("orchard", day("2025-02-01"), day("9999-12-31"))]


def test_events_and_pauses_carry_site_and_course_week() -> None:
    events = [WHO | {"event_on": day(d), "kind": "headache"} for d in ("2025-01-07", "2025-02-05")]
    found = run("frames.events", {"settled.events": events, "settled.courses": [COURSE], "settled.whereabouts": STAYS})
    assert picked(found, "site", "protocol", "week") == [("harbour", "p", 4), ("mill", "p", -1)]
    pauses = [WHO | {"from_on": day("2025-01-14")}, WHO | {"from_on": day("2025-01-15")}]
    assert picked(run("frames.pauses", {"settled.pauses": pauses, "settled.courses": [COURSE]}), "week") == [(0,), (1,)]
    doses = [WHO | {"holds_from_on": day("2025-01-22"), "change_reason": "progression"}]
    found = run("frames.prescriptions", {"settled.prescriptions": doses, "settled.courses": [COURSE]})
    assert picked(found, "site", "week", "change_reason") == [("mill", 2, "progression")]


def test_every_test_day_is_there_with_its_series_and_site() -> None:
    days = [WHO | {"pressure": "mip", "tested_on": day(d)} for d in ("2025-01-10", "2025-04-01")]
    series: list[Row] = [{"client_key": "aaaaaaaa", "pressure": "mip", "tested_on": day(d), "series_no": n}
                         for n, d in enumerate(("2025-01-10", "2025-04-01"), start=1)]
    found = run("frames.test_days", {"quantities.test_days": days, "quantities.series": series,
                                     "settled.courses": [COURSE], "settled.whereabouts": STAYS})
    assert sorted(picked(found, "quarter", "site", "series_no")) == [("2025Q1", "mill", 1), ("2025Q2", "harbour", 2)]


def test_a_new_label_at_a_site_is_seen_and_its_first_one_is_not() -> None:
    days = [WHO | {"pressure": "mip", "tested_on": day(d), "instrument": i}
            for d, i in (("2025-01-10", "g1"), ("2025-01-20", "g2"), ("2025-01-25", "g1"), ("2025-02-10", "g1"))]
    told: list[Row] = [{"instrument": "g1", "site": "mill", "event_on": day("2025-01-01"), "what": "calibrated"}]
    labels = run("quantities.instrument_labels", {"quantities.test_days": days, "settled.whereabouts": STAYS})
    found = run("frames.instruments", {"quantities.instrument_labels": labels, "settled.instruments": told})
    assert picked(found, "site", "instrument", "event_on", "source") == [
        ("mill", "g1", day("2025-01-01"), "told"), ("mill", "g2", day("2025-01-20"), "seen")]


def test_courses_know_people_baselines_and_tests() -> None:
    gains = [WHO | {"pressure": p, "baseline_cmh2o": b, "baseline_pct_predicted": 80.0, "last_on": x, "at12_on": x}
             for p, b, x in (("mip", 60.0, day("2025-04-01")), ("mep", None, None))]
    row = run("frames.courses", {
        "settled.courses": [COURSE], "quantities.gains": gains,
        "settled.clients": [{"client_key": "aaaaaaaa", "sex": "female", "age_years": 60}],
        "quantities.doses": [WHO | {"holds_from_on": day(d), "device_class": c}
                             for d, c in (("2025-02-01", "flow_resistive"), ("2025-01-06", "threshold"))],
        "quantities.test_days": [WHO | {"pressure": "mip"}] * 3,
        "settled.events": [WHO | {"event_on": day("2025-05-05")}]})[0]
    assert (row["baseline_mip_cmh2o"], row["baseline_mep_cmh2o"], row["mip_pct_predicted"]) == (60.0, None, 80.0)
    assert (row["retested"], row["has_12_week_mip"], row["has_12_week_mep"]) == (True, True, False)
    assert (row["n_mip_tests"], row["n_mep_tests"], row["device_class"]) == (3, 0, "threshold")
    assert (row["first_quarter"], row["last_record_on"]) == ("2025Q1", day("2025-05-05"))


@pytest.mark.parametrize(("age", "band"), [
    (17, "under 18"), (18, "18 to 39"), (40, "40 to 59"), (79, "60 to 79"), (80, "80 or over"), (None, None)])
def test_age_bands_meet_without_a_gap(age: int | None, band: str | None) -> None:
    rows: dict[str, list[Row]] = {"settled.courses": [COURSE], "quantities.gains": [WHO],
                                  "settled.clients": [{"client_key": "aaaaaaaa", "age_years": age}]}
    assert picked(run("frames.courses", rows), "age_band") == [(band,)]


@pytest.mark.parametrize("name", ["client_weeks", "gains", "adherence", "client_quarters"])
def test_frame_hands_on_every_column_under_its_name(name: str) -> None:
    types = column_types()
    sevenths = {f"{dose}_sevenths{kind}" for dose in ("sessions", "breaths") for kind in ("", "_unpaused")}
    inner = {"stop_told"} | sevenths if name == "client_weeks" else set()
    assert set(types[f"frames.{name}"]) == set(types[f"quantities.{name}"]) - inner
    text = derive.sql_files()[f"frames.{name}"]
    assert " as " not in text.split("\n", 1)[1].split("from")[0]


@pytest.mark.parametrize(("name", "rows"), [
    ("frames.files", {"settled.files": [{"file": "tests.csv", "rows_read": 3}]}),
    ("frames.set_aside", {"settled.set_aside": [{"file": "tests.csv", "line": 3}]}),
    ("settled.instruments", {"received.instruments": [{"instrument": "g1"}]}),
    ("settled.other_outcomes", {
        "received.other_outcomes": [{"client_key": "aaaaaaaa", "measured_on": day("2025-02-01"), "value": 5.0}],
        "settled.span": [{"data_until_on": day("2025-12-31")}],
        "settled.courses": [WHO | {"record_from_on": day("0001-01-01"), "record_until_on": day("9999-12-31")}]}),
])
def test_rows_are_handed_on(name: str, rows: dict[str, list[Row]]) -> None:
    assert len(run(name, rows)) == 1
