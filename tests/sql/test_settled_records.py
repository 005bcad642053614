"""Tests, doses, pauses and diaries as they are settled: units, signs, spans of days."""

from __future__ import annotations

import pytest

from tests.sql.rows import Row, day, picked, run

SPAN = [{"data_until_on": day("2025-12-31")}]
COURSE: Row = {
    "client_key": "aaaaaaaa", "course_no": 1, "from_on": day("2025-01-10"), "week0_on": day("2025-01-10"),
    "last_on": day("2025-03-31"), "record_from_on": day("0001-01-01"), "record_until_on": day("9999-12-31"),
    "doses_from_on": day("0001-01-01"),
}


def effort(value: float | None, **more: object) -> Row:
    return {"client_key": "aaaaaaaa", "tested_on": day("2025-01-10"), "pressure": "mip", "effort_no": 1,
            "unit": "cmh2o", "value": value} | more


def settled_tests(*rows: Row) -> list[Row]:
    signs = run("settled.file_signs", {"received.tests": list(rows)})
    return run("settled.tests", {"received.tests": list(rows), "settled.courses": [COURSE], "settled.span": SPAN,
                                 "settled.file_signs": signs})


def test_units_become_cmh2o() -> None:
    rows = settled_tests(effort(10.0), effort(1.0, unit="kpa", effort_no=2), effort(10.0, unit="mmhg", effort_no=3),
                         effort(None, effort_no=4, not_done_reason="too_ill"))
    values = [r["value_cmh2o"] for r in rows]
    # 1 kPa = 1000 / 98.0665 cmH2O, 1 mmHg = 133.322387415 / 98.0665 cmH2O (NIST SP 811, 2008)
    assert values[:3] == [10.0, pytest.approx(10.197162), pytest.approx(13.595098)]
    assert values[3] is None


def test_a_file_of_negative_mip_is_turned_and_its_mep_is_not() -> None:
    rows = settled_tests(effort(-61.0), effort(-70.5, effort_no=2), effort(80.0, pressure="mep"),
                         effort(55.0, tested_on=day("2025-02-01"), file="other.csv"))
    assert sorted(r["value_cmh2o"] for r in rows) == [55.0, 61.0, 70.5, 80.0]


def test_dose_holds_until_the_next_row_or_the_end_of_the_course() -> None:
    rows = [{"client_key": "aaaaaaaa", "from_on": day(d), "sets_per_session": n}
            for n, d in ((1, "2024-12-20"), (2, "2025-02-01"), (3, "2025-04-01"))]
    found = run("settled.prescriptions", {"received.prescriptions": rows, "settled.courses": [COURSE],
                                          "settled.span": SPAN})
    assert picked(found, "sets_per_session", "holds_from_on", "holds_until_on") == [
        (1, day("2025-01-10"), day("2025-01-31")), (2, day("2025-02-01"), day("2025-03-31"))]


def test_open_pause_lasts_to_the_end_of_the_data() -> None:
    rows = [{"client_key": "aaaaaaaa", "from_on": day("2025-02-01"), "reason": "hospital"},
            {"client_key": "aaaaaaaa", "from_on": day("2025-01-20"), "to_on": day("2025-01-22"), "reason": "travel"}]
    found = run("settled.pauses", {"received.pauses": rows, "settled.courses": [COURSE], "settled.span": SPAN})
    assert picked(found, "until_on", "is_open", "is_illness") == [
        (day("2025-01-22"), False, False), (day("2025-12-31"), True, True)]


def test_days_of_overlapping_pauses_count_once() -> None:
    spans = (("2025-01-20", "2025-01-22", False), ("2025-01-22", "2025-01-23", True))
    rows = [{"client_key": "aaaaaaaa", "from_on": day(a), "until_on": day(b), "is_illness": ill} for a, b, ill in spans]
    found = run("quantities.paused_days", {"settled.pauses": rows})
    assert picked(found, "day_on", "is_ill") == [
        (day("2025-01-20"), False), (day("2025-01-21"), False), (day("2025-01-22"), True), (day("2025-01-23"), True)]


def test_session_and_diary_take_the_episode_of_their_day() -> None:
    episodes = [{"client_key": "aaaaaaaa", "course_no": 1, "episode_no": n, "from_on": day(a), "last_on": day(b)}
                for n, a, b in ((1, "2025-01-10", "2025-01-31"), (2, "2025-02-01", "2025-03-01"))]
    sessions = [{"client_key": "aaaaaaaa", "session_on": day(d)} for d in ("2025-01-09", "2025-01-31", "2025-02-01")]
    found = run("settled.sessions", {"received.sessions": sessions, "settled.episodes": episodes})
    assert picked(found, "session_on", "episode_no") == [(day("2025-01-31"), 1), (day("2025-02-01"), 2)]
    diaries = [{"client_key": "aaaaaaaa", "week_from_on": day(d), "returned": "yes"}
               for d in ("2025-01-03", "2025-01-04", "2025-01-30", "2025-03-02")]
    kept = run("settled.weekly_logs", {"received.weekly_logs": diaries, "settled.episodes": episodes,
                                       "settled.span": SPAN})
    assert picked(kept, "week_from_on") == [(day("2025-01-04"),), (day("2025-01-30"),)]


def test_last_load_of_a_file_counts_and_mended_rows_are_no_longer_aside() -> None:
    loads = [{"batch_id": b, "file": "tests.csv", "table_name": "tests", "rows_read": n} for b, n in ((1, 10), (2, 20))]
    assert picked(run("settled.files", {"received.files": loads}, as_of_batch=2), "rows_read") == [(20,)]
    assert picked(run("settled.files", {"received.files": loads}, as_of_batch=1), "rows_read") == [(10,)]
    aside = [{"batch_id": 1, "line": 4, "to_batch": 2}, {"batch_id": 1, "line": 5}]
    assert picked(run("settled.set_aside", {"received.set_aside": aside}, as_of_batch=2), "line") == [(5,)]
    assert picked(run("settled.set_aside", {"received.set_aside": aside}, as_of_batch=1), "line") == [(4,), (5,)]
