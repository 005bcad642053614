"""Who trains in a simulated cohort: one plan per person, each drawn from the person's own stream of random numbers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from pipeline.simulate.archetypes import KINDS, Kind
from pipeline.simulate.scenario import Scenario

KEY_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
CONDITIONS = (("copd", 0.38), ("neuromuscular", 0.08), ("stroke", 0.12), ("parkinson", 0.10), ("post_viral", 0.10),
              ("heart_failure", 0.10), ("spinal_cord_injury", 0.04), ("voice_or_swallowing", 0.05), ("other", 0.03))
CAUTIONS = ("none_known", "cardiac", "recent_surgery", "progressive_disease", "ear_or_sinus")
REFERRALS = {"voice_or_swallowing": "voice", "stroke": "swallowing", "neuromuscular": "cough"}


@dataclass
class Person:
    """One person's plan: traits, course, true deviations (u: pressure -> intercept cmH2O, slope cmH2O/12 weeks)."""

    key: str
    rng: np.random.Generator
    sex: str
    age_years: int
    height_cm: int
    weight_kg: int
    condition: str
    caution: str
    consent: str
    site: str
    protocol: str
    start_on: date
    planned_weeks: int
    source: str
    is_naive: bool
    adherence: float
    in_band: float
    gap_weeks: int
    effort_scale: str
    pressures: tuple[str, ...]
    u: dict[str, tuple[float, float]]
    best_only: bool = False
    own_unit: str = ""  # set where this person's tests are not in the unit of the site
    peak_from_test: int | None = None
    moves_to: str = ""
    trait: str = ""  # "open_pause": held from the sixth week on, and never told that it ended
    kind: Kind | None = None


def new_key(rng: np.random.Generator) -> str:
    """Return a random surrogate of 12 characters, a letter first."""
    first = KEY_LETTERS[int(rng.integers(0, 23))]
    return first + "".join(KEY_LETTERS[i] for i in rng.integers(0, len(KEY_LETTERS), 11))


def pick(rng: np.random.Generator, choices: tuple[tuple[str, float], ...]) -> str:
    """Return one name with the probability beside it (weights need not add up to 1)."""
    weights = np.array([w for _, w in choices])
    return choices[int(rng.choice(len(choices), p=weights / weights.sum()))][0]


def deviations(rng: np.random.Generator, scenario: Scenario, pressure: str) -> tuple[float, float]:
    """Draw a person's true intercept and slope deviation for one pressure."""
    truth = scenario.outcome(pressure)
    z0, z1 = rng.standard_normal(2)
    r = truth.client_slope_correlation
    return truth.client_sd * z0, truth.slope_sd * (r * z0 + np.sqrt(1 - r * r) * z1)


def plan(rng: np.random.Generator, scenario: Scenario) -> Person:
    """Draw one ordinary person."""
    site = pick(rng, tuple((s.name, s.share) for s in scenario.sites))
    names = tuple(p.name for p in scenario.protocols)
    protocol = pick(rng, tuple(zip(names, scenario.site(site).protocol_shares, strict=True)))
    sex = pick(rng, (("female", 0.49), ("male", 0.49), ("other", 0.01), ("unknown", 0.01)))
    days = (scenario.last_start_on - scenario.first_start_on).days
    has_mep = rng.random() < scenario.share_with_mep
    height = int(rng.normal(176 if sex == "male" else 163, 7))
    return Person(
        key=new_key(rng), rng=rng, sex=sex, age_years=int(np.clip(rng.normal(65, 12), 20, 90)), height_cm=height,
        weight_kg=int(np.clip(rng.normal(25.5, 4.0), 17, 42) * height**2 / 10000), condition=pick(rng, CONDITIONS),
        caution=pick(rng, tuple(zip(CAUTIONS, (0.76, 0.10, 0.04, 0.07, 0.03), strict=True))),
        consent=pick(rng, (("yes", 0.82), ("no", 0.12), ("unknown", 0.06))), site=site, protocol=protocol,
        start_on=scenario.first_start_on + timedelta(days=int(rng.integers(0, days + 1))),
        planned_weeks=int(rng.choice([14, 18, 22, 26], p=[0.35, 0.3, 0.2, 0.15])),
        source="sessions" if rng.random() < scenario.share_with_sessions else "diary",
        is_naive=bool(rng.random() < scenario.share_naive),
        adherence=float(rng.beta(scenario.adherence_a, scenario.adherence_b)),
        in_band=float(rng.beta(scenario.in_band_a, scenario.in_band_b)),
        gap_weeks=int(rng.choice([2, 3, 4, 6], p=[0.1, 0.25, 0.45, 0.2])),
        effort_scale="cr10" if rng.random() < 0.2 else "nrs_0_10", pressures=("mip", "mep") if has_mep else ("mip",),
        u={p: deviations(rng, scenario, p) for p in ("mip", "mep")}, best_only=bool(rng.random() < 0.08),
    )


def plan_kind(rng: np.random.Generator, scenario: Scenario, kind: Kind) -> Person:
    """Draw one person of a planted kind: an ordinary plan, with what makes the kind written over it."""
    person = plan(rng, scenario)
    person.kind = kind
    changed = {c.site for c in scenario.gauge_changes if c.on > scenario.data_until_on - timedelta(weeks=30)}
    steady = [s.name for s in scenario.sites if s.name not in changed]
    person.site = kind.site or (person.site if person.site in steady else steady[int(rng.integers(len(steady)))])
    person.protocol = kind.protocol or person.protocol
    person.start_on = scenario.data_until_on - timedelta(weeks=kind.weeks_before_end, days=int(rng.integers(1, 6)))
    person.planned_weeks, person.gap_weeks, person.source = 30, 2, kind.source
    person.adherence, person.in_band, person.is_naive = kind.adherence, kind.in_band, False
    person.caution, person.condition, person.best_only = "none_known", "copd", False
    for pressure, (u0, _) in person.u.items():
        truth, scale = scenario.outcome(pressure), 1.0 if pressure == "mip" else 1.2
        expected = truth.dose * kind.adherence + truth.effort * (kind.in_band - scenario.effort_reference_share)
        person.u[pressure] = (0.5 * u0, scale * kind.slope - expected)
    return person


def plan_all(seed: int, scenario: Scenario) -> list[Person]:
    """Draw the cohort, ordered by key. Each person has a stream of their own: one more person moves nobody else."""
    kinds = [k for k in KINDS for _ in range(k.n)]
    people = []
    for i in range(scenario.n_clients):
        rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, i])))
        people.append(plan_kind(rng, scenario, kinds[i]) if i < len(kinds) else plan(rng, scenario))
    ordinary = people[len(kinds):]
    for person in ordinary[:8]:
        person.peak_from_test, person.planned_weeks, person.gap_weeks = 3, 22, 4
    for person, there in zip(ordinary[8:14], ("mill", "orchard", "harbour") * 2, strict=True):
        person.moves_to, person.planned_weeks = there if there != person.site else "harbour", 26
        person.moves_to = person.moves_to if person.moves_to != person.site else "mill"
    for person in [p for p in ordinary[21:] if p.site == "mill"][:5]:
        person.own_unit = "mmhg"
    for n, person in enumerate(ordinary[19:21]):
        person.trait, person.source, person.planned_weeks = "open_pause", "sessions", 20
        person.start_on, person.gap_weeks = scenario.data_until_on - timedelta(days=104 + 3 * n), 4
    return sorted(people, key=lambda p: p.key)
