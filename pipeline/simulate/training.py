"""What one simulated person does between the tests: sessions day by day, illness, easing, prescriptions stepping up."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from pipeline.simulate.people import Person
from pipeline.simulate.scenario import Protocol, Scenario

STOPS = ("breathless", "dizzy", "pain", "cough", "fatigue", "time", "equipment")


@dataclass(frozen=True)
class Session:
    """One session as it happened; `band` is -1 below, 0 in, 1 above the prescribed effort band."""

    on: date
    slot: str
    sets: int
    band: int
    rating: float
    setting: int
    ease_reason: str | None
    is_rated: bool
    stop_reason: str | None
    wellbeing: int | None


@dataclass(frozen=True)
class Pause:
    from_on: date
    to_on: date
    reason: str


@dataclass(frozen=True)
class Prescription:
    from_on: date
    setting: int
    load_pct: float
    change_reason: str


@dataclass
class Training:
    """Everything done in a course planned to its end; the tests decide later where it really ends."""

    sessions: list[Session] = field(default_factory=list)
    pauses: list[Pause] = field(default_factory=list)
    prescriptions: list[Prescription] = field(default_factory=list)
    week_band: dict[int, int] = field(default_factory=dict)

    def held_on(self, day: date) -> bool:
        return any(p.from_on <= day <= p.to_on for p in self.pauses)


def plan_pauses(person: Person, scenario: Scenario) -> list[Pause]:
    """Draw illness pauses (2 to 5 weeks, not sooner than three weeks apart) and, for some, a journey."""
    rng, kind = person.rng, person.kind
    if kind is not None:
        if kind.ill_week is None:
            return []
        first = person.start_on + timedelta(weeks=kind.ill_week, days=1)
        return [Pause(first, first + timedelta(weeks=kind.ill_weeks, days=-1), "acute_illness")]
    if person.trait == "open_pause":
        return [Pause(person.start_on + timedelta(weeks=6), scenario.data_until_on + timedelta(days=1), "travel")]
    pauses, week = [], 2
    while week < person.planned_weeks - 3:
        if rng.random() < scenario.illness_per_week:
            first = person.start_on + timedelta(weeks=week, days=int(rng.integers(0, 7)))
            days = int(rng.integers(12, 36))
            reason = "hospital" if rng.random() < 0.15 else "acute_illness"
            pauses.append(Pause(first, first + timedelta(days=days - 1), reason))
            week += days // 7 + 4
        elif rng.random() < 0.004:
            first = person.start_on + timedelta(weeks=week, days=int(rng.integers(0, 7)))
            pauses.append(Pause(first, first + timedelta(days=int(rng.integers(6, 13))), "travel"))
            week += 5
        else:
            week += 1
    return pauses


def plan_prescriptions(person: Person, protocol: Protocol, pauses: list[Pause]) -> list[Prescription]:
    """Draw the doses: a start, a step up every three to five weeks, sometimes a step down after an illness."""
    rng = person.rng
    setting, day = int(rng.integers(2, 5)), person.start_on
    last = person.start_on + timedelta(weeks=person.planned_weeks - 2)
    rows = [Prescription(day, setting, protocol.load_pct[0], "start")]
    steps = max(1, person.planned_weeks // 4)
    rise = (protocol.load_pct[1] - protocol.load_pct[0]) / steps
    while (day := day + timedelta(days=int(rng.integers(21, 36)))) < last:
        ended = [p for p in pauses if day - timedelta(days=30) < p.to_on < day]
        if ended and rows[-1].change_reason == "progression" and rng.random() < 0.5:
            setting -= 1
            load, why = rows[-1].load_pct - rise, "return_after_break"
        else:
            setting += 1
            load, why = min(rows[-1].load_pct + rise, float(protocol.load_pct[1])), "progression"
        rows.append(Prescription(day, setting, load, why))
    return rows


def rating_of(rng: np.random.Generator, band: int, protocol: Protocol, scale: str) -> float:
    """Draw an effort rating below, in or above the protocol's band; half points only on CR10."""
    low, high = protocol.band
    whole = {-1: int(rng.integers(low - 2, low)), 0: int(rng.integers(low, high + 1)),
             1: int(rng.integers(high + 1, high + 3))}[band]
    is_half = scale == "cr10" and band == 0 and whole < high and rng.random() < 0.3
    return whole + 0.5 if is_half else float(whole)


def draw_band(rng: np.random.Generator, share_in: float) -> int:
    if rng.random() < share_in:
        return 0
    return -1 if rng.random() < 0.65 else 1


def eased(person: Person, day: date, pauses: list[Pause]) -> str | None:
    """Return why this session is eased, or None."""
    back = [p for p in pauses if timedelta(0) < day - p.to_on <= timedelta(days=10) and p.reason != "travel"]
    if back:
        return "return_after_break"
    share = person.kind.eased_share if person.kind else 0.03
    return "symptom_day" if person.rng.random() < share else None


def one_session(person: Person, protocol: Protocol, day: date, slot: str, band: int, setting: int,
                reason: str | None) -> Session:
    rng = person.rng
    stop = str(rng.choice(STOPS)) if rng.random() < 0.012 and person.kind is None else None
    sets = protocol.sets - (1 if protocol.sets > 1 and (stop or rng.random() < 0.05) else 0)
    return Session(day, slot, sets, band, rating_of(rng, band, protocol, person.effort_scale),
                   max(1, setting - 1) if reason else setting, reason if setting > 1 else None,
                   rng.random() > 0.12, stop,
                   int(np.clip(rng.normal(6.5, 1.5), 0, 10)) if rng.random() < 0.4 else None)


def train(person: Person, scenario: Scenario) -> Training:
    """Simulate the whole planned course up to the last day of the data. The first session is done on the first day."""
    rng, protocol = person.rng, scenario.protocol(person.protocol)
    pauses = plan_pauses(person, scenario)
    done = Training(pauses=pauses, prescriptions=plan_prescriptions(person, protocol, pauses))
    slots = ("am", "pm") if protocol.sessions_per_day == 2 else (("am", "pm", "other")[int(rng.integers(0, 2))],)
    days = min(person.planned_weeks * 7, (scenario.data_until_on - person.start_on).days + 1)
    share = person.adherence
    for n in range(days):
        if n % 7 == 0:
            spread = 0.03 if person.kind else 0.10
            share = float(np.clip(person.adherence + spread * rng.standard_normal(), 0.05, 1.0))
            done.week_band[n // 7] = draw_band(rng, person.in_band)
        day = person.start_on + timedelta(days=n)
        if n % 7 >= protocol.days_per_week or done.held_on(day):
            continue
        setting = [p for p in done.prescriptions if p.from_on <= day][-1].setting
        for slot in slots:
            if n and rng.random() >= share:
                continue
            band = draw_band(rng, person.in_band) if person.source == "sessions" else done.week_band[n // 7]
            done.sessions.append(one_session(person, protocol, day, slot, band, setting, eased(person, day, pauses)))
    return done
