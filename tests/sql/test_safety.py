"""Safety counts precede every filter; completeness counts what was expected."""

from __future__ import annotations

from tests.sql.rows import Row, day, picked, run

STAY: Row = {"client_key": "aaaaaaaa", "site": "mill", "from_on": day("0001-01-01"), "until_on": day("9999-12-31")}


def event(key: str, **more: object) -> Row:
    return {"client_key": key, "source": "events", "kind": "headache", "day_on": day("2025-02-01"),
            "is_serious": False, "is_related": False} | more


def safety(inputs: dict[str, list[Row]]) -> list[Row]:
    return run("frames.safety", {"quantities.safety_sums": run("quantities.safety_sums", inputs)})


def test_untoward_rows_are_taken_as_received() -> None:
    found = run("settled.untoward", {
        "received.events": [{"client_key": "nobody00", "kind": "death", "serious": "yes"},
                            {"client_key": "aaaaaaaa", "kind": "headache", "to_batch": 1}],
        "received.sessions": [{"client_key": "nobody00", "stopped_early": s, "stop_reason": r} for s, r in
                              (("yes", "dizzy"), ("yes", None), ("no", None), (None, None))]})
    assert picked(found, "source", "kind", "is_serious") == [
        ("events", "death", True), ("sessions", "dizzy", False), ("sessions", "not_recorded", False)]


def test_events_count_by_site_with_those_of_unknown_clients() -> None:
    found = safety({"settled.whereabouts": [STAY], "settled.untoward": [
        event("aaaaaaaa", is_serious=True), event("aaaaaaaa", is_related=True), event("nobody00")]})
    assert picked(found, "site", "quarter", "n_rows", "n_people", "n_serious", "n_related") == [
        ("mill", "2025Q1", 2, 1, 1, 1), ("not known", "2025Q1", 1, 1, 0, 0)]


def aside(line: int, rule: str, **more: object) -> Row:
    return {"table_name": "events", "file": "events.csv", "line": line, "rule": rule, "client_key_ok": "aaaaaaaa",
            "occurred_on": day("2025-02-01")} | more


def test_rows_set_aside_are_counted_once_each() -> None:
    found = safety({"settled.whereabouts": [STAY], "settled.set_aside": [
        aside(3, "events.kind.code"), aside(3, "events.serious.code"),  # two faults of one row
        aside(4, "events.row.conflict"), aside(5, "events.row.conflict"),  # one event told twice
        aside(6, "events.row.repeated"),  # the same row again
        aside(7, "events.event_on.day", occurred_on=None, client_key_ok=None),
        aside(8, "sessions.slot.code", table_name="sessions"), aside(9, "tests.value.number", table_name="tests")]})
    assert picked(found, "site", "quarter", "source", "kind", "n_rows", "n_set_aside") == [
        ("mill", "2025Q1", "events", "set_aside", 2, 2), ("mill", "2025Q1", "sessions", "set_aside", 0, 1),
        ("not known", "not known", "events", "set_aside", 1, 1)]


def test_weeks_expect_a_log_unless_held_throughout() -> None:
    base: Row = {"site": "mill", "quarter": "2025Q1", "week_days": 7, "rated_below": 0, "rated_in": 2, "rated_above": 0,
                 "not_rated": 1, "rated_other_scale": 0, "is_assumed": False, "stop_told": 2}
    weeks = [base | {"logged_by": by, "paused_days": p, "sessions_prescribed": dose, "sessions_done": 3}
             for by, p, dose in (("sessions", 0, 12.0), ("none", 6, None), ("pause", 7, 12.0))]
    items = run("quantities.complete_weeks", {"quantities.client_weeks": weeks})
    sums = run("quantities.complete_sums", {"quantities.complete_weeks": items})
    totals = {r["item"]: (r["expected"], r["filled"])
              for r in run("frames.completeness", {"quantities.complete_sums": sums})}
    assert totals == {"weekly_log": (2, 1), "prescription": (3, 2), "effort_rating": (9, 6), "stopped_early": (3, 2)}


def test_a_12_week_test_falls_due_when_its_window_has_passed() -> None:
    who: Row = {"client_key": "aaaaaaaa", "pressure": "mip"}
    courses = [who | {"course_no": n, "from_on": day("2025-01-01"), "week0_on": day("2025-01-01"), "last_on": day(last)}
               for n, last in ((1, "2025-06-30"), (2, "2025-03-11"), (3, "2025-03-12"))]
    courses = [{k: v for k, v in c.items() if k != "pressure"} for c in courses]
    rows = [who | {"course_no": n, "site": "mill", "baseline_on": day("2025-01-01"), "at12_on": at}
            for n, at in ((1, day("2025-03-20")), (2, None), (3, None))]
    given: dict[str, list[Row]] = {
        "quantities.gains": rows, "settled.courses": courses, "quantities.baselines": [
            who | {"course_no": n} for n in (1, 2, 3)]}
    due = run("quantities.complete_tests", given | {"settled.span": [{"data_until_on": day("2025-04-23")}]})
    assert [(r["quarter"], r["filled"]) for r in due if r["item"] == "12_week_mip"] == [("2025Q2", 0), ("2025Q2", 1)]
    early = run("quantities.complete_tests", given | {"settled.span": [{"data_until_on": day("2025-04-22")}]})
    assert [r for r in early if r["item"] == "12_week_mip"] == []


def test_people_and_events_have_their_items() -> None:
    who: Row = {"client_key": "aaaaaaaa", "course_no": 1}
    found = run("quantities.complete_people", {
        "settled.courses": [who | {"site": "mill", "from_on": day("2025-01-01"), "aim": "raise"}],
        "settled.clients": [{"client_key": "aaaaaaaa", "height_cm": 170.0, "research_consent": "unknown"}],
        "settled.events": [who | {"event_on": day("2025-05-01"), "serious": "no", "judged_related": "unknown"}]})
    assert {(r["item"], r["quarter"], r["filled"]) for r in found} == {
        ("aim", "2025Q1", 1), ("condition_group", "2025Q1", 0), ("height_and_weight", "2025Q1", 0),
        ("research_consent", "2025Q1", 0), ("event_judged", "2025Q2", 0)}
