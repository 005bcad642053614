"""Planted cases for the list of queries: rows that are well formed and still need a question to the site."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from pipeline.simulate.outcomes import Visits
from pipeline.simulate.people import Person
from pipeline.simulate.rows import Row, Rows, row

RECENT = date(2025, 7, 1)


@dataclass
class Case:
    """One person with everything written about them."""

    person: Person
    rows: Rows
    visits: Visits


@dataclass(frozen=True)
class Query:
    """One planted query: its cause, the key, the table to look in, and the tag of its rows ("" = no row of its own)."""

    cause: str
    client_key: str
    table: str
    tag: str = ""


class Pick:
    """Hands out ordinary people, each once, in the order of their keys."""

    def __init__(self, cases: list[Case]) -> None:
        self.free = [c for c in cases if c.person.kind is None and not c.person.moves_to and not c.person.trait]

    def some(self, n: int, fits: Callable[[Case], bool]) -> Iterator[Case]:
        chosen = [c for c in self.free if fits(c)][:n]
        if len(chosen) < n:
            raise ValueError("the scenario has too few people to plant this query in")
        self.free = [c for c in self.free if c not in chosen]
        yield from chosen


def day(text: str | None) -> date:
    return date.fromisoformat(text or "")


def has_sessions(n: int) -> Callable[[Case], bool]:
    return lambda c: len(c.rows.get("sessions", [])) >= n and len(c.rows["episodes"]) == 1


def middle(rows: list[Row]) -> Row:
    return rows[len(rows) // 2]


def open_pauses(cases: list[Case]) -> list[Query]:
    found = []
    for case in cases:
        if case.person.trait == "open_pause":
            case.rows["pauses"][0]["tag_"] = tag = f"open-{case.person.key}"
            found.append(Query("pause_open", case.person.key, "pauses", tag))
    return found


def training_in_pause(pick: Pick) -> Iterator[Query]:
    for case in pick.some(2, has_sessions(60)):
        on = day(middle(case.rows["sessions"])["session_on"])
        tag = f"inside-{case.person.key}"
        case.rows["pauses"].append(
            row(client_key=case.person.key, from_on=on, to_on=on + timedelta(days=2), reason="travel", tag_=tag))
        yield Query("training_in_pause", case.person.key, "pauses", tag)


def illness_without_event(pick: Pick) -> Iterator[Query]:
    def fits(case: Case) -> bool:
        return any(p["reason"] in ("acute_illness", "hospital") for p in case.rows["pauses"])

    for case in pick.some(3, fits):
        pause = next(p for p in case.rows["pauses"] if p["reason"] in ("acute_illness", "hospital"))
        pause["tag_"] = tag = f"ill-{case.person.key}"
        case.rows["events"] = [e for e in case.rows["events"] if e["event_on"] != pause["from_on"]]
        yield Query("pause_without_event", case.person.key, "pauses", tag)


def death_without_event(pick: Pick) -> Iterator[Query]:
    for case in pick.some(1, lambda c: c.visits.end_reason == "withdrew"):
        case.rows["episodes"][-1].update(end_reason="died", tag_=f"died-{case.person.key}")
        yield Query("death_without_event", case.person.key, "episodes", f"died-{case.person.key}")


def died_then_trained(pick: Pick) -> Iterator[Query]:
    for case in pick.some(1, lambda c: has_sessions(60)(c) and c.visits.end_reason == "completed"):
        sessions, tag = case.rows["sessions"], f"later-{case.person.key}"
        last = day(sessions[-1]["session_on"]) - timedelta(days=9)
        case.rows["episodes"][0].update(to_on=last.isoformat(), end_reason="died", tag_=tag)
        case.rows["events"].append(row(client_key=case.person.key, event_on=last, kind="death", serious="yes",
                                       judged_related="no", action="stopped"))
        case.rows["tests"] = [t for t in case.rows["tests"] if day(t["tested_on"]) <= last]
        case.rows["other_outcomes"] = [o for o in case.rows["other_outcomes"] if day(o["measured_on"]) <= last]
        yield Query("training_after_death", case.person.key, "episodes", tag)


def lost_contact(pick: Pick, data_until_on: date) -> Iterator[Query]:
    def fits(case: Case) -> bool:
        late = data_until_on - timedelta(days=100)
        return case.visits.end_reason == "lost" and RECENT <= case.visits.last_on <= late

    for case in pick.some(3, fits):
        tag = f"silent-{case.person.key}"
        case.rows["episodes"][-1].update(to_on=None, end_reason=None, tag_=tag)
        yield Query("lost_contact", case.person.key, "episodes", tag)


def no_prescription(pick: Pick) -> Iterator[Query]:
    for case in [*pick.some(2, has_sessions(20)), *pick.some(2, lambda c: len(c.rows.get("weekly_logs", [])) > 5)]:
        case.rows["prescriptions"] = []
        yield Query("no_prescription", case.person.key, "episodes")


def unexplained_setting(pick: Pick) -> Iterator[Query]:
    for i, case in enumerate(pick.some(4, has_sessions(60))):
        plain = [s for s in case.rows["sessions"] if s["ease_reason"] is None and int(s["inhale_setting"] or 0) > 3]
        session, tag = middle(plain), f"setting-{case.person.key}"
        session.update(inhale_setting=str(int(session["inhale_setting"] or 0) + (2 if i % 2 else -2)), tag_=tag)
        yield Query("setting_differs", case.person.key, "sessions", tag)


def diary_disagrees(pick: Pick) -> Iterator[Query]:
    for case in pick.some(3, has_sessions(60)):
        case.rows["weekly_logs"] = []
        for week in range(2, 6):
            first = case.person.start_on + timedelta(weeks=week)
            inside = [s for s in case.rows["sessions"]
                      if first <= day(s["session_on"]) < first + timedelta(days=7)]
            diary = row(client_key=case.person.key, week_from_on=first, returned="yes",
                        sessions_done=len(inside) + (4 if week == 4 else 0))
            if week == 4:
                diary["tag_"] = f"diary-{case.person.key}"
            case.rows["weekly_logs"].append(diary)
        yield Query("diary_disagrees", case.person.key, "weekly_logs", f"diary-{case.person.key}")


def two_rows_of_a_slot(pick: Pick) -> Iterator[Query]:
    for case in pick.some(3, has_sessions(60)):
        session, tag = middle(case.rows["sessions"]), f"slot-{case.person.key}"
        session["tag_"] = tag
        case.rows["sessions"].append({**session, "breaths_done": str(int(session["breaths_done"] or 0) + 6)})
        yield Query("slot_told_twice", case.person.key, "sessions", tag)


def maybe_two_people(pick: Pick) -> Iterator[Query]:
    for i, case in enumerate(pick.some(2, lambda c: c.person.sex in ("female", "male") and c.person.age_years > 50)):
        client, tag = case.rows["clients"][0], f"two-{case.person.key}"
        client["tag_"] = tag
        other = {"sex": "male" if case.person.sex == "female" else "female"} if i else {
            "age_years": str(case.person.age_years - 31)}
        case.rows["clients"].append({**client, **other})
        yield Query("maybe_two_people", case.person.key, "clients", tag)


def orphans(pick: Pick) -> Iterator[Query]:
    """Leave one person's client row out, and another's episode."""
    for case in pick.some(1, lambda c: "sessions" in c.rows and len(c.rows["sessions"]) < 60):
        case.rows["clients"] = []
        yield Query("client_missing", case.person.key, "episodes")
    for case in pick.some(1, lambda c: len(c.rows.get("weekly_logs", [])) < 12 and "weekly_logs" in c.rows):
        case.rows["episodes"] = []
        yield Query("episode_missing", case.person.key, "tests")


def plant_queries(cases: list[Case], data_until_on: date) -> list[Query]:
    """Plant every query case; each person carries at most one."""
    pick = Pick(cases)
    return [
        *open_pauses(cases), *illness_without_event(pick), *death_without_event(pick),
        *lost_contact(pick, data_until_on), *died_then_trained(pick), *training_in_pause(pick),
        *unexplained_setting(pick), *diary_disagrees(pick), *two_rows_of_a_slot(pick), *no_prescription(pick),
        *maybe_two_people(pick), *orphans(pick),
    ]
