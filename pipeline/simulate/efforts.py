"""Test days written down effort by effort, in the unit and with the manometer of the site."""

from __future__ import annotations

import numpy as np

from pipeline.reference.units import FACTORS
from pipeline.simulate.outcomes import TestDay, Visits
from pipeline.simulate.people import Person
from pipeline.simulate.rows import Row, row
from pipeline.simulate.scenario import Scenario

DECIMALS = {"cmh2o": 0, "mmhg": 0, "kpa": 2, "hpa": 0}
EFFORT_CV = 0.06


def written(value_cmh2o: float, unit: str) -> str:
    """Write a pressure as its manometer shows it: whole cmH2O, mmHg or hPa, hundredths of a kPa."""
    return f"{value_cmh2o / FACTORS[unit]:.{DECIMALS[unit]}f}"


def all_efforts(rng: np.random.Generator, best_cmh2o: float, n: int) -> list[float]:
    """Return `n` efforts in the order they were made: the best, and lower ones by a 6 % spread between efforts."""
    gaps = np.minimum(0.005 + EFFORT_CV * np.abs(rng.standard_normal(n - 1)), 0.5)
    values = [best_cmh2o, *(best_cmh2o * (1 - g) for g in gaps)]
    return [values[i] for i in rng.permutation(n)]


def gauge_on(scenario: Scenario, test: TestDay) -> str:
    """Return the label of the manometer used on a test day."""
    label = scenario.site(test.site).gauge
    for change in scenario.gauge_changes:
        if change.label == label and test.on >= change.on:
            label = change.label_after
    return label


def one_test(person: Person, scenario: Scenario, test: TestDay, pressure: str, same: dict[str, object]) -> list[Row]:
    """Write the efforts of one pressure on one day."""
    rng, best = person.rng, test.best_cmh2o[pressure]
    if best is None:
        return [row(effort_no=1, pressure=pressure, not_done_reason="too_ill", **same)]
    if same["metric"] == "peak":
        best *= scenario.peak_over_plateau[pressure]
    unit = str(same["unit"])
    if person.best_only:
        return [row(effort_no=1, pressure=pressure, value=written(best, unit), acceptable="yes",
                    efforts_recorded="best_only", **same)]
    values = all_efforts(rng, best, test.efforts)
    rows = [row(effort_no=i + 1, pressure=pressure, value=written(v, unit), efforts_recorded="all",
                acceptable="no" if v < best and rng.random() < 0.05 else "yes", **same) for i, v in enumerate(values)]
    if rng.random() < 0.015:  # an effort with a leak: higher, and not to be counted
        rows.append(row(effort_no=len(rows) + 1, pressure=pressure, value=written(best * 1.12, unit), acceptable="no",
                        efforts_recorded="all", **same))
    return rows


def test_rows(person: Person, scenario: Scenario, visits: Visits) -> list[Row]:
    """Write every test day of a person."""
    rng, rows, done = person.rng, [], 0
    for test in visits.days:
        done += test.best_cmh2o["mip"] is not None and test.on >= person.start_on
        is_peak = person.peak_from_test is not None and done >= person.peak_from_test
        for pressure in person.pressures:
            same = {
                "client_key": person.key, "tested_on": test.on,
                "unit": person.own_unit or scenario.site(test.site).unit,
                "metric": "peak" if is_peak else "plateau_1s", "lung_volume": "rv" if pressure == "mip" else "tlc",
                "posture": "seated", "mouthpiece": "flanged", "instrument": gauge_on(scenario, test),
                "same_tester": "yes" if person.kind or rng.random() < 0.9 else "no", "test_reason": test.reason,
            }
            rows += one_test(person, scenario, test, pressure, same)
    return rows


def outcome_rows(person: Person, visits: Visits) -> list[Row]:
    """Write the other outcomes of some people on the first and a later test day of the course."""
    rng = person.rng
    days = [t.on for t in visits.days if t.on >= person.start_on] or [person.start_on]
    if rng.random() > 0.5 or len(days) < 2:
        return []
    later = min(days, key=lambda d: abs((d - person.start_on).days - 84))
    walk, grade, flow = rng.normal(370, 80), int(rng.integers(1, 4)), rng.normal(260, 70)
    rows = []
    for day, gain in ((person.start_on, 0.0), (later, 1.0)):
        same = {"client_key": person.key, "measured_on": day}
        if person.condition in ("copd", "heart_failure", "post_viral", "other_obstructive"):
            rows.append(row(**same, measure="six_minute_walk_m",
                            value=round(max(60, walk + gain * rng.normal(18, 30) + rng.normal(0, 12)))))
            rows.append(row(**same, measure="mmrc_grade", value=max(0, grade - int(gain * (rng.random() < 0.3)))))
        elif person.condition in ("neuromuscular", "spinal_cord_injury", "parkinson", "stroke"):
            rows.append(row(**same, measure="peak_cough_flow_l_min",
                            value=round(max(60, flow + gain * rng.normal(22, 30) + rng.normal(0, 15)))))
        elif person.condition == "voice_or_swallowing":
            rows.append(row(**same, measure="maximum_phonation_s",
                            value=f"{max(3, 12 + gain * 2 + rng.normal(0, 2)):.1f}"))
    return rows
