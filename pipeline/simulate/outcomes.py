"""The tests of one simulated person: true pressures from the stated model, and who leaves after what was seen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import numpy as np

from pipeline.reference.learning import learned_cmh2o
from pipeline.simulate.people import Person
from pipeline.simulate.scenario import OutcomeTruth, Scenario
from pipeline.simulate.training import Training

DAYS_PER_12_WEEKS = 84.0


@dataclass(frozen=True)
class TestDay:
    """One test day: the best effort as the manometer showed it (cmH2O) for each pressure; None where not done."""

    on: date
    site: str
    reason: str
    efforts: int
    best_cmh2o: dict[str, float | None]


@dataclass(frozen=True)
class Visits:
    """A person's test days, the last day of the course and how it ended (empty while it runs)."""

    days: list[TestDay]
    last_on: date
    end_reason: str


def shape(w: float, saturation: float) -> float:
    """Return the saturating mean curve: 0 at w = 0 and 1 at w = 1 (12 weeks)."""
    return float(-np.expm1(-w / saturation) / -np.expm1(-1.0 / saturation))


def past_dose(person: Person, training: Training, day: date, per_week: int) -> float:
    """Return D: weeks' worth of the prescribed sessions done before `day`, in 12-week units."""
    return sum(s.on < day for s in training.sessions) / (per_week * 12.0)


def past_effort(person: Person, training: Training, visits: list[date], reference: float) -> float:
    """Return E at the last of `visits`: the sum over the intervals between visits of (share in band - reference) times
    the interval's weeks / 12. An interval without training adds nothing. Diary weeks count as one rating each."""
    total = 0.0
    for earlier, b in pairwise(visits):
        a = max(earlier, person.start_on)
        inside = [s for s in training.sessions if a <= s.on < b]
        if person.source == "diary":
            weeks = {(s.on - person.start_on).days // 7: s.band for s in inside}
            bands = list(weeks.values())
        else:
            bands = [s.band for s in inside]
        if bands:
            total += (sum(x == 0 for x in bands) / len(bands) - reference) * (b - a).days / DAYS_PER_12_WEEKS
    return total


def level_cmh2o(person: Person, truth: OutcomeTruth, pressure: str) -> float:
    """Return the true pressure at the start: fixed parts of the model and the person's own intercept."""
    return (
        truth.intercept + truth.male * (person.sex == "male") + truth.per_decade_age * (person.age_years - 65) / 10
        + truth.site[person.site] + truth.protocol[person.protocol] + person.u[pressure][0]
    )


def true_gain(person: Person, truth: OutcomeTruth, pressure: str, w: float, dose: float, effort: float) -> float:
    """Return the true gain since the start, in cmH2O: the model, and the path of a planted kind."""
    added = 0.0
    if person.kind is not None:
        weeks, gains = zip(*person.kind.path, strict=True)
        added = float(np.interp(w * 12, weeks, gains)) * (1.0 if pressure == "mip" else 1.2)
    mean = (truth.gain12 + truth.protocol_gain12[person.protocol]) * shape(w, truth.saturation)
    slope = truth.site_slope[person.site] + float(person.u[pressure][1])
    return mean + slope * w + truth.dose * dose + truth.effort * effort + added


def step_cmh2o(scenario: Scenario, site: str, day: date, pressure: str) -> float:
    """Return what the manometer of `site` adds on `day` since it was changed."""
    changes = [c for c in scenario.gauge_changes if c.site == site and day >= c.on]
    return sum(c.mip_step_cmh2o if pressure == "mip" else c.mep_step_cmh2o for c in changes)


def measure(person: Person, scenario: Scenario, training: Training, visits: list[date], site: str, efforts: int,
            pressure: str) -> float:
    """Return the best effort shown on the last of `visits`, in cmH2O, never under 8."""
    truth, day, rng = scenario.outcome(pressure), visits[-1], person.rng
    w = max(0, (day - person.start_on).days) / DAYS_PER_12_WEEKS
    dose = past_dose(person, training, day, scenario.protocol(person.protocol).per_week)
    effort = past_effort(person, training, visits, scenario.effort_reference_share)
    level = level_cmh2o(person, truth, pressure) + true_gain(person, truth, pressure, w, dose, effort)
    learning = truth.learning_share * learned_cmh2o(len(visits)) if person.is_naive else 0.0
    level = max(level + learning, 12.0)
    error_sd = truth.error_sd * float((level / truth.error_level) ** truth.error_power) * (0.45 if person.kind else 1)
    kept = truth.per_effort_kept * (efforts - 5)
    error = error_sd * float(rng.standard_normal())
    return max(8.0, level + kept + step_cmh2o(scenario, site, day, pressure) + error)


def days_before(person: Person) -> list[date]:
    """Return the test days before the first session: the baseline, and three more for those who knew the test."""
    rng = person.rng
    base = person.start_on - timedelta(days=0 if rng.random() < 0.5 else int(rng.integers(1, 6)))
    if person.is_naive:
        return [base]
    return [base - timedelta(days=d) for d in (int(rng.integers(24, 31)), int(rng.integers(15, 21)), 8)] + [base]


def follow_ups(person: Person, scenario: Scenario) -> list[date]:
    """Return the planned days of the later tests; those of diary clients fall on the first day of a diary week."""
    jitter = 2 if person.source == "sessions" and person.kind is None else 0
    weeks = range(person.gap_weeks, person.planned_weeks + 1, person.gap_weeks)
    days = [person.start_on + timedelta(weeks=w, days=int(person.rng.integers(-jitter, jitter + 1))) for w in weeks]
    return [d for d in days if d <= scenario.data_until_on]


def leaves(person: Person, scenario: Scenario, gain_cmh2o: float, share_done: float) -> bool:
    """Draw whether the person leaves after a test, from the observed MIP change and the observed adherence."""
    drop = scenario.drop_out
    eta = drop.level + drop.per_cmh2o * (gain_cmh2o - 6.0) + drop.per_adherence * (share_done - 0.75)
    return bool(person.rng.random() < person.gap_weeks / 4.0 / (1.0 + np.exp(-eta)))


def visit(person: Person, scenario: Scenario, training: Training) -> Visits:
    """Simulate the tests one after another, leaving when the draw says so."""
    rng, site, base = person.rng, person.site, 0.0
    seen: list[TestDay] = []
    tested: list[date] = []
    end_on = min(person.start_on + timedelta(weeks=person.planned_weeks), scenario.data_until_on)
    before = days_before(person)
    planned = [(d, "start") for d in before] + [(d, "scheduled") for d in follow_ups(person, scenario)]
    last_weeks = person.start_on + timedelta(weeks=person.planned_weeks - person.gap_weeks + 1)
    early = person.kind is None and not person.trait and rng.random() < scenario.drop_out.before_any_retest
    for n, (day, reason) in enumerate(planned):
        if early and reason != "start":
            return Visits(seen, person.start_on + timedelta(days=int(rng.integers(3, 13))), "lost")
        if person.moves_to and (day - person.start_on).days >= 63:
            site = person.moves_to
        if training.held_on(day) and day > person.start_on:
            if rng.random() < 0.3:
                seen.append(TestDay(day, site, reason, 1, dict.fromkeys(person.pressures)))
            continue
        tested.append(day)
        efforts = int(rng.integers(3, 9))
        best = {p: measure(person, scenario, training, tested, site, efforts, p) for p in person.pressures}
        seen.append(TestDay(day, site, "end" if day >= last_weeks else reason, efforts, dict(best)))
        if n == len(before) - 1:
            base = best["mip"]
        if reason == "start" or person.kind or person.moves_to or person.peak_from_test or person.trait:
            continue
        per_week = scenario.protocol(person.protocol).per_week
        weeks = max((day - max(tested[-2], person.start_on)).days / 7, 1)
        share = sum(tested[-2] <= s.on < day for s in training.sessions) / (per_week * weeks)
        if leaves(person, scenario, best["mip"] - base, share):
            why = ("lost", "withdrew", "illness", "died")[int(rng.choice(4, p=[0.52, 0.34, 0.10, 0.04]))]
            last = min(day + timedelta(days=int(rng.integers(0, 15))), end_on)
            return Visits(seen, last, why if last < scenario.data_until_on else "")
    is_open = person.start_on + timedelta(weeks=person.planned_weeks) > scenario.data_until_on
    return Visits(seen, end_on, "" if is_open else "completed")
