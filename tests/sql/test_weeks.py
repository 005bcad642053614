"""Course days, sessions, and the client-week: what is known, what was prescribed, effort, settings."""

from __future__ import annotations

from pipeline.settings import Settings
from tests.sql.rows import Row, day, picked, run

WHO: Row = {"client_key": "aaaaaaaa", "course_no": 1}
COURSE = WHO | {"site": "mill", "protocol": "p", "from_on": day("2025-01-06"), "week0_on": day("2025-01-06"),
                "last_on": day("2025-01-19")}
BAND: Row = {"effort_low": 5.0, "effort_high": 7.0}


def test_dose_is_spread_over_the_days_of_a_week() -> None:
    # the usual dose as an outside check: 12 sessions and 240 breaths a week (common practice, no source)
    dose = WHO | {"holds_from_on": day("2025-01-06"), "holds_until_on": day("2025-01-12"), "sessions_per_day": 2,
                  "days_per_week": 6, "sets_per_session": 2, "breaths_per_set": 10}
    found = run("quantities.doses", {"settled.prescriptions": [dose], "settled.courses": [COURSE]})
    assert picked(found, "is_assumed") == [(False,)]
    assert found[0]["sessions_a_week"] == 12
    assert found[0]["breaths_a_week"] == 240


def test_usual_dose_fills_only_what_is_not_told_and_only_when_the_settings_say_so() -> None:
    dose = WHO | {"holds_from_on": day("2025-01-10"), "holds_until_on": day("2025-01-19")}
    rows: dict[str, list[Row]] = {"settled.prescriptions": [dose], "settled.courses": [COURSE]}
    assert picked(run("quantities.doses", rows), "is_assumed") == [(False,)]
    assumed = run("quantities.doses", rows, Settings(usual_dose_assumed=True))
    assert picked(assumed, "holds_from_on", "holds_until_on", "is_assumed") == [
        (day("2025-01-06"), day("2025-01-09"), True), (day("2025-01-10"), day("2025-01-19"), False)]
    assert assumed[0]["sessions_a_week"] == 12


def test_course_days_begin_with_week_0_and_know_dose_and_pause() -> None:
    found = run("quantities.course_days", {
        "settled.courses": [COURSE | {"week0_on": day("2025-01-08")}],
        "settled.episodes": [WHO | {"episode_no": 1, "from_on": day("2025-01-06"), "last_on": day("2025-01-15")}],
        "quantities.doses": [WHO | {"holds_from_on": day("2025-01-09"), "holds_until_on": day("2025-01-14"),
                                    "sessions_a_week": 12}],
        "quantities.paused_days": [{"client_key": "aaaaaaaa", "day_on": day("2025-01-10"), "is_ill": True}],
    })
    assert [r["day_on"].day for r in found] == [8, 9, 10, 11, 12, 13, 14, 15]
    assert [r["week_no"] for r in found] == [0] * 7 + [1]
    assert [r["sessions_a_week"] for r in found] == [None] + [12] * 6 + [None]
    assert [r["day_on"].day for r in found if r["is_paused"] and r["is_ill"]] == [10]


def session(on: str, **more: object) -> Row:
    return WHO | {"session_on": day(on), "slot": "am", "breaths_done": 20, "file": "s.csv", "line": 2} | more


def marks(*sessions: Row, **dose: object) -> list[Row]:
    days = [WHO | {"day_on": day(f"2025-01-{d:02}"), "week_no": (d - 6) // 7} | BAND | dose for d in range(6, 20)]
    return run("quantities.session_marks", {"settled.sessions": list(sessions), "quantities.course_days": days})


def test_effort_counts_against_the_band_with_both_edges_in() -> None:
    ratings = (4.5, 5.0, 7.0, 7.5, None)
    rows = marks(*(session("2025-01-06", effort_rating=r, effort_scale="cr10", line=n) for n, r in enumerate(ratings)))
    assert sorted((r["line"], r["effort_class"]) for r in rows) == [
        (0, "below"), (1, "in"), (2, "in"), (3, "above"), (4, None)]
    assert picked(marks(session("2025-01-06", effort_rating=6.0), effort_low=None), "effort_class") == [(None,)]


def test_a_session_without_breaths_was_not_done_and_is_not_rated() -> None:
    row = marks(session("2025-01-06", breaths_done=0, effort_rating=6.0, effort_scale="nrs_0_10"))[0]
    assert (row["is_done"], row["effort_class"]) == (False, None)


def test_steps_are_told_against_the_last_noted_setting() -> None:
    settings = (("06", 3.0), ("07", None), ("08", 4.0), ("09", 4.0), ("10", 2.0))
    rows = marks(*(session(f"2025-01-{d}", inhale_setting=s) for d, s in settings))
    assert picked(rows, "is_step_up", "is_step_down") == [
        (False, False), (False, False), (True, False), (False, False), (False, True)]


def test_setting_that_differs_needs_a_reason() -> None:
    rows = marks(session("2025-01-06", inhale_setting=3.0), session("2025-01-07", inhale_setting=4.0),
                 session("2025-01-08", inhale_setting=3.0, ease_reason="symptom_day"), inhale_setting=4.0)
    assert picked(rows, "differs_without_reason", "is_eased") == [(True, False), (False, False), (False, True)]


def mark(week: int, **more: object) -> Row:
    return WHO | {"week_no": week, "session_on": day("2025-01-06"), "is_done": True, "breaths_done": 20, "sets_done": 2,
                  "is_step_up": False, "is_step_down": False, "is_eased": False, "is_stopped_early": False,
                  "is_stop_told": True} | more


def test_of_two_scales_in_a_week_the_one_with_more_ratings_is_kept() -> None:
    rows = [mark(0, effort_class="in", effort_scale="cr10", effort_rating=5.5),
            mark(0, effort_class="above", effort_scale="nrs_0_10", effort_rating=9.0),
            mark(0, effort_class="below", effort_scale="nrs_0_10", effort_rating=3.0)]
    scales = run("quantities.week_scales", {"quantities.session_marks": rows})
    assert picked(scales, "effort_scale", "rated_other_scale") == [("nrs_0_10", 1)]
    week = run("quantities.week_sessions", {"quantities.session_marks": rows, "quantities.week_scales": scales})[0]
    assert (week["rated_below"], week["rated_in"], week["rated_above"], week["not_rated"]) == (1, 0, 1, 1)
    assert (week["effort_median"], week["effort_scale"], week["sessions_done"]) == (6.0, "nrs_0_10", 3)


def test_breaths_of_a_week_are_unknown_where_a_session_lacks_them() -> None:
    rows = [mark(0), mark(0, breaths_done=None), mark(1), mark(1, breaths_done=0, sets_done=0, is_done=False)]
    found = run("quantities.week_sessions", {"quantities.session_marks": rows})
    assert picked(found, "sessions_done", "breaths_done", "sets_done") == [(2, None, 4), (1, 20, 2)]


def test_diary_goes_to_the_week_that_holds_most_of_its_days() -> None:
    diaries = [WHO | {"week_from_on": day(d), "returned": r, "sessions_done": n, "breaths_done": b}
               for d, r, n, b in (("2025-01-03", "yes", 1, 20), ("2025-01-09", "yes", 2, 40),
                                  ("2025-01-10", "yes", 4, None), ("2025-01-16", "lost", None, None))]
    found = run("quantities.week_diaries", {"settled.weekly_logs": diaries, "settled.courses": [COURSE]})
    assert picked(found, "week_no", "sessions_done", "breaths_done") == [(0, 3, 60), (1, 4, None)]


def test_week_doses_leave_out_paused_days() -> None:
    days = [WHO | BAND | {"week_no": 0, "day_on": day(f"2025-01-{d:02}"), "sessions_a_week": 14,
                          "is_paused": d in (7, 8), "is_ill": d == 8, "is_assumed": False, "device_class": c}
            for d, c in ((6, "threshold"), (7, "threshold"), (8, "flow_resistive"))]
    week = run("quantities.week_doses", {"quantities.course_days": days})[0]
    assert (week["sessions_sevenths"], week["sessions_sevenths_unpaused"]) == (42, 14)
    assert (week["paused_days"], week["illness_days"], week["week_days"]) == (2, 1, 3)
    assert week["device_class"] == "flow_resistive"


def client_weeks(**given: list[Row]) -> list[Row]:
    doses = [WHO | BAND | {"week_no": n, "week_days": 7, "paused_days": p, "sessions_sevenths": 84}
             for n, p in ((0, 0), (1, 0), (2, 7), (3, 6))]
    rows = {"quantities.week_doses": doses, "settled.courses": [COURSE]}
    return run("quantities.client_weeks", rows | {f"quantities.{k}": v for k, v in given.items()})


def test_a_week_is_known_by_rows_then_diary_then_a_pause_throughout() -> None:
    both = [WHO | {"week_no": n, "sessions_done": 5, "usual_effort": 6.0, "effort_scale": "nrs_0_10"} for n in (0, 1)]
    rows = [WHO | {"week_no": 0, "sessions_done": 3, "rated_below": 0, "rated_in": 1, "rated_above": 0, "not_rated": 2}]
    weeks = client_weeks(week_sessions=rows, week_diaries=both)
    assert picked(weeks, "logged_by", "sessions_done") == [("sessions", 3), ("diary", 5), ("pause", 0), ("none", None)]
    assert picked(weeks, "rated_in", "not_rated") == [(1, 2), (1, 0), (0, 0), (0, 0)]


def test_a_diary_without_a_rating_is_not_rated_once() -> None:
    diary = [WHO | {"week_no": 0, "sessions_done": 5}]
    assert picked(client_weeks(week_diaries=diary), "rated_in", "not_rated")[0] == (0, 1)


def test_quarter_is_that_of_the_first_day() -> None:
    assert {r["quarter"] for r in client_weeks()} == {"2025Q1"}
    assert [r["week_from_on"] for r in client_weeks()][2] == day("2025-01-20")
    assert {r["sessions_prescribed"] for r in client_weeks()} == {12.0}
