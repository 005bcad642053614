"""A simulated person written down as a clinic would: rows of text for the input tables, cut where the course ends."""

from __future__ import annotations

from datetime import date, timedelta

from pipeline.simulate.outcomes import Visits, level_cmh2o
from pipeline.simulate.people import REFERRALS, Person
from pipeline.simulate.scenario import Scenario
from pipeline.simulate.training import Training

Row = dict[str, str | None]
Rows = dict[str, list[Row]]
MOVE_DAY = 63


def text(value: object) -> str | None:
    """Write one value: a day as ISO, a whole float without its point, None as nothing."""
    if value is None:
        return None
    if isinstance(value, date):
        return value.isoformat()
    return f"{value:g}" if isinstance(value, float) else str(value)


def row(**values: object) -> Row:
    return {name: text(value) for name, value in values.items()}


def client_rows(person: Person) -> list[Row]:
    rng = person.rng
    support = "oxygen" if person.condition == "copd" and rng.random() < 0.2 else "none"
    if person.condition == "neuromuscular" and rng.random() < 0.4:
        support = "noninvasive"
    weight = None if rng.random() < 0.06 else person.weight_kg
    return [row(client_key=person.key, sex=person.sex, age_years=person.age_years, height_cm=person.height_cm,
                weight_kg=weight, condition_group=person.condition, respiratory_support=support,
                caution=person.caution, research_consent=person.consent)]


def goal_cmh2o(person: Person, scenario: Scenario) -> int | None:
    """Return the clinician's own MIP goal; the kind that reaches one has it drawn into its path."""
    start = level_cmh2o(person, scenario.mip, "mip")
    if person.kind is not None:
        over = person.kind.goal_over_baseline
        return None if over is None else round(start + over)
    return round((start + 20) / 5) * 5 if person.rng.random() < 0.2 and start > 20 else None


def episode_rows(person: Person, scenario: Scenario, visits: Visits) -> list[Row]:
    rng = person.rng
    aim = "slow_a_fall" if person.caution == "progressive_disease" else "raise"
    same = {"client_key": person.key, "protocol": person.protocol, "aim": aim, "planned_weeks": person.planned_weeks,
            "assigned_by": "clinician" if rng.random() < 0.85 else "client_choice",
            "goal_mip_cmh2o": goal_cmh2o(person, scenario),
            "referral_reason": REFERRALS.get(person.condition, "breathlessness"),
            "other_rehabilitation": "yes" if rng.random() < 0.25 else "no"}
    to_on = visits.last_on if visits.end_reason else None
    end = {"to_on": to_on, "end_reason": visits.end_reason or None}
    move_on = person.start_on + timedelta(days=MOVE_DAY)
    if not person.moves_to or visits.last_on <= move_on:
        return [row(episode_no=1, site=person.site, from_on=person.start_on, **same, **end)]
    first = {"to_on": move_on - timedelta(days=1), "end_reason": "moved_site"}
    return [row(episode_no=1, site=person.site, from_on=person.start_on, **same, **first),
            row(episode_no=2, site=person.moves_to, from_on=move_on, continues_episode_no=1, **same, **end)]


def prescription_rows(person: Person, scenario: Scenario, training: Training, visits: Visits) -> list[Row]:
    protocol, rng = scenario.protocol(person.protocol), person.rng
    start = level_cmh2o(person, scenario.mip, "mip")
    threshold = rng.random() < 0.6
    return [
        row(client_key=person.key, from_on=p.from_on, sets_per_session=protocol.sets, breaths_per_set=protocol.breaths,
            sessions_per_day=protocol.sessions_per_day, days_per_week=protocol.days_per_week, rest_s=protocol.rest_s,
            inhale_setting=p.setting, exhale_setting=max(1, p.setting - 1),
            inhale_load_cmh2o=max(5, round(start * p.load_pct / 100)) if threshold else None,
            device_class="threshold" if threshold else "flow_resistive", effort_low=protocol.band[0],
            effort_high=protocol.band[1], decided_by="clinician" if rng.random() < 0.9 else "client",
            change_reason=p.change_reason, recorded_on=p.from_on + timedelta(days=int(rng.choice([0, 0, 0, 1, 3]))))
        for p in training.prescriptions if p.from_on <= visits.last_on
    ]


def session_rows(person: Person, scenario: Scenario, training: Training, visits: Visits) -> list[Row]:
    breaths = scenario.protocol(person.protocol).breaths
    first_week = person.start_on + timedelta(days=7)
    return [
        row(client_key=person.key, session_on=s.on, slot=s.slot, sets_done=s.sets, breaths_done=s.sets * breaths,
            inhale_setting=s.setting, exhale_setting=max(1, s.setting - 1),
            effort_rating=s.rating if s.is_rated else None,
            effort_scale=person.effort_scale if s.is_rated else None, wellbeing_before=s.wellbeing,
            supervised="yes" if s.on == person.start_on else "no" if s.on < first_week else None,
            stopped_early="yes" if s.stop_reason else "no", stop_reason=s.stop_reason, ease_reason=s.ease_reason)
        for s in training.sessions if s.on <= visits.last_on
    ]


def diary_rows(person: Person, scenario: Scenario, training: Training, visits: Visits) -> list[Row]:
    """Write the full diary weeks; a share never comes back, whatever was done in them."""
    rng, protocol, rows = person.rng, scenario.protocol(person.protocol), []
    lost = person.kind.diary_lost if person.kind else scenario.share_diary_lost
    for week in range(((visits.last_on - person.start_on).days + 1) // 7):
        first = person.start_on + timedelta(weeks=week)
        inside = [s for s in training.sessions if first <= s.on < first + timedelta(days=7)]
        returned = "lost" if rng.random() < lost else "yes"
        rated = bool(inside) and rng.random() > 0.08
        counts = {} if returned == "lost" else {
            "days_trained": len({s.on for s in inside}), "sessions_done": len(inside),
            "breaths_done": sum(s.sets for s in inside) * protocol.breaths,
            "usual_effort": inside[0].rating if rated else None, "effort_scale": person.effort_scale if rated else None,
        }
        rows.append(row(client_key=person.key, week_from_on=first, returned=returned, **counts))
    return rows


def pause_rows(person: Person, training: Training, visits: Visits) -> list[Row]:
    rows = []
    for p in training.pauses:
        if p.from_on > visits.last_on:
            continue
        goes_on = p.to_on > visits.last_on
        to_on = p.to_on if not goes_on else visits.last_on if visits.end_reason else None
        rows.append(row(client_key=person.key, from_on=p.from_on, to_on=to_on, reason=p.reason))
    return rows


def event_rows(person: Person, training: Training, visits: Visits) -> list[Row]:
    rng, rows = person.rng, []
    for p in training.pauses:
        if p.from_on <= visits.last_on and p.reason != "travel":
            kind = "hospital_admission" if p.reason == "hospital" else "respiratory_infection"
            rows.append(row(client_key=person.key, event_on=p.from_on, kind=kind, judged_related="no", action="paused",
                            serious="yes" if p.reason == "hospital" else "no"))
    if visits.end_reason == "died":
        rows.append(row(client_key=person.key, event_on=visits.last_on, kind="death", serious="yes",
                        judged_related="no", action="stopped"))
    days = (visits.last_on - person.start_on).days
    if person.kind is None and days > 30 and rng.random() < 0.05:
        kind = str(rng.choice(["syncope_or_dizziness", "headache", "ear_or_sinus", "chest_pain"]))
        rows.append(row(client_key=person.key, event_on=person.start_on + timedelta(days=int(rng.integers(7, days))),
                        kind=kind, serious="no", judged_related=str(rng.choice(["yes", "no", "unknown"])),
                        action=str(rng.choice(["none", "eased"]))))
    return rows


REVIEW_OUTCOMES = {"eased": "plan_changed", "unlogged": "records_to_be_mended", "gauge_changed": "test_to_be_repeated"}
"""What came of the looks at planted clients, by kind; the plan was kept for any other kind."""


def review_rows(people: list[Person], scenario: Scenario) -> list[Row]:
    """Write the looks of a team at the planted clients who stalled: ten weeks before the end of the data."""
    listed = sorted((p.key, p.kind.name) for p in people if p.kind is not None and "stalled" in p.kind.states)
    first = scenario.data_until_on - timedelta(weeks=10)
    return [row(client_key=key, reviewed_on=first + timedelta(days=7 * (n % 3)),
                outcome=REVIEW_OUTCOMES.get(kind, "plan_kept")) for n, (key, kind) in enumerate(listed)]
