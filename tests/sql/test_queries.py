"""Each cause of a question to a site: one small case that asks, beside one that does not."""

from __future__ import annotations

import pytest

from pipeline import derive
from tests.sql.rows import Row, day, picked, run

A: Row = {"client_key": "aaaaaaaa", "course_no": 1, "file": "x.csv", "line": 7}
B: Row = {"client_key": "bbbbbbbb", "course_no": 1, "file": "x.csv", "line": 8}
IN_FEBRUARY: Row = {"from_on": day("2025-02-01"), "until_on": day("2025-02-10"), "is_illness": True}
DIED: Row = {"episode_no": 1, "end_reason": "died", "last_on": day("2025-02-01")}

#: cause -> inputs in which only client A is asked about
CASES: dict[str, dict[str, list[Row]]] = {
    "after_the_end": {"settled.not_belonging": [A | {"missing": "later"}, B | {"missing": "day"}]},
    "maybe_two_people": {"settled.held_clients": [A | {"n_rows": 2}]},
    "client_missing": {"settled.not_belonging": [A | {"missing": "client"}, B | {"missing": "day"}]},
    "episode_missing": {"settled.not_belonging": [A | {"missing": "episode"}, B | {"missing": "client"}],
                        "settled.clients": [B], "settled.whereabouts": [B]},
    "outside_episode": {"settled.not_belonging": [A | {"missing": "day", "day_on": day("2025-03-01")},
                                                  B | {"missing": "day", "day_on": day("2025-03-01")}],
                        "settled.episodes": [B | DIED]},
    "training_after_death": {
        "settled.not_belonging": [A | {"missing": "day", "day_on": day("2025-02-02"), "table_name": "sessions"},
                                  B | {"missing": "day", "day_on": day("2025-01-02"), "table_name": "sessions"}],
        "settled.episodes": [A | DIED, B | DIED]},
    "death_without_event": {"settled.episodes": [A | DIED, B | DIED],
                            "settled.events": [B | {"kind": "death"}, A | {"kind": "headache"}]},
    "pause_open": {"settled.pauses": [
        k | {"is_open": is_open, "from_on": day(a), "until_on": day("2025-03-16")}
        for k, is_open, a in ((A, True, "2025-02-01"), (B, True, "2025-02-02"), (B, False, "2025-01-01"))]},
    "training_in_pause": {"quantities.session_marks": [A | {"is_paused": True, "is_done": True},
                                                       B | {"is_paused": True, "is_done": False},
                                                       B | {"is_paused": False, "is_done": True}]},
    "pause_without_event": {"settled.pauses": [A | IN_FEBRUARY, B | IN_FEBRUARY,
                                               A | IN_FEBRUARY | {"is_illness": False}],
                            "settled.events": [B | {"event_on": day("2025-01-25")}, A | {"event_on": day("2025-01-24")},
                                               A | {"event_on": day("2025-02-11")}]},
    "no_prescription": {"settled.courses": [A, B], "settled.episodes": [A | {"episode_no": 1}, B | {"episode_no": 1}],
                        "settled.prescriptions": [B]},
    "slot_told_twice": {"settled.set_aside": [{"client_key_ok": "aaaaaaaa", "rule": "sessions.row.conflict"},
                                              {"client_key_ok": "bbbbbbbb", "rule": "sessions.row.repeated"}]},
    "setting_differs": {"quantities.session_marks": [A | {"differs_without_reason": True, "is_done": True},
                                                     B | {"differs_without_reason": False, "is_done": True}]},
    "diary_disagrees": {
        "settled.weekly_logs": [k | {"week_from_on": day("2025-02-03"), "returned": "yes", "sessions_done": n}
                                for k, n in ((A, 2), (B, 1))],
        "quantities.session_marks": [k | {"session_on": day("2025-02-09"), "is_done": True} for k in (A, B)]},
    "two_scales_in_a_week": {"quantities.client_weeks": [A | {"rated_other_scale": 2}, B | {"rated_other_scale": 0}]},
    "lost_contact": {
        "settled.courses": [k | {"is_open": True, "from_on": day("2025-01-01"), "last_on": day("2025-06-30")}
                            for k in (A, B)],
        "settled.episodes": [A | {"episode_no": 1}, B | {"episode_no": 1}],
        "settled.sessions": [A | {"session_on": day("2025-04-06")}, B | {"session_on": day("2025-04-07")}]},
    "continued_episode_missing": {"settled.episodes": [
        A | {"episode_no": 2, "continues_episode_no": 1}, B | {"episode_no": 1},
        B | {"episode_no": 2, "continues_episode_no": 1}]},
    "under_10_cmh2o": {"quantities.test_days": [k | {"under_10_cmh2o": u, "tested_on": day("2025-02-01"),
                                                     "pressure": "mip"} for k, u in ((A, True), (B, False))],
                       "settled.tests": [k | {"tested_on": day("2025-02-01"), "pressure": "mip", "value_cmh2o": 9.0}
                                         for k in (A, B)]},
}


def for_query(inputs: dict[str, list[Row]], name: str) -> dict[str, list[Row]]:
    """Leave out the columns that an input does not have."""
    from tests.sql.rows import column_types
    return {t: [{c: v for c, v in row.items() if c in column_types()[t]} for row in rows] for t, rows in inputs.items()}


@pytest.mark.parametrize("cause", sorted(CASES))
def test_cause_asks_about_a_and_not_about_b(cause: str) -> None:
    name = f"quantities.query_{cause}"
    rows = run(name, for_query(CASES[cause], name))
    assert picked(rows, "cause", "client_key") == [(cause, "aaaaaaaa")]
    assert rows[0]["question"].endswith("?") and rows[0]["meanwhile"].endswith(".")


def test_every_cause_has_a_case_and_reaches_the_list() -> None:
    causes = {n.removeprefix("quantities.query_") for n in derive.sql_files() if n.startswith("quantities.query_")}
    assert causes == set(CASES)
    read = derive.references({"q": derive.sql_files()["frames.queries"]})["q"]
    assert {f"quantities.query_{c}" for c in causes} <= read


def test_list_names_the_site_of_that_day() -> None:
    stays: list[Row] = [
        {"client_key": "aaaaaaaa", "site": s, "from_on": day(a), "until_on": day(b)}
        for s, a, b in (("mill", "0001-01-01", "2025-01-31"), ("harbour", "2025-02-01", "9999-12-31"))]
    asked: list[Row] = [{"client_key": "aaaaaaaa", "cause": "pause_open", "day_on": day("2025-01-31")},
                        {"client_key": "bbbbbbbb", "cause": "pause_open"}]
    found = run("frames.queries", {"quantities.query_pause_open": asked, "settled.whereabouts": stays,
                                   "quantities.query_no_prescription": [asked[0] | {"day_on": None, "cause": "x"}]})
    assert picked(found, "cause", "site") == [("pause_open", "mill"), ("pause_open", "not known"), ("x", "harbour")]
