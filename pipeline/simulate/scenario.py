"""What is true in a simulated cohort: sites, protocols, effects, variances, drop-out. Every number is stated.

The sites, people and labels are invented. Doses are rows of published trials; effects lie inside the range of the
pooled, control-adjusted gains (6 to 17 cmH2O in 6 to 12 weeks).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from pipeline.settings import Settings


@dataclass(frozen=True)
class Protocol:
    """One dosing protocol as prescribed. Loads are per cent of baseline MIP at the start and at the end."""

    name: str
    sets: int
    breaths: int
    sessions_per_day: int
    days_per_week: int
    rest_s: int
    band: tuple[int, int]
    load_pct: tuple[int, int]
    source: str

    @property
    def per_week(self) -> int:
        return self.sessions_per_day * self.days_per_week


PROTOCOLS = (
    Protocol("steady_30", 1, 30, 2, 7, 60, (3, 5), (25, 40),
             "60 breaths a day at 25-40 % of MIP, 7 days a week: low-load row of the table of trials in PMC10270119; "
             "30 + 30, the weeks and the effort band are ours"),
    Protocol("firm_5x6", 5, 6, 1, 6, 60, (5, 7), (55, 75),
             "5 sets of 6 breaths, 1 min rest, 6 days a week, 55-65-75 % of MIP: PMC10270119; the weeks and the effort "
             "band are ours"),
    Protocol("ladder_6", 4, 6, 1, 7, 60, (5, 7), (50, 70),
             "3-6 sets of 6 breaths about daily from 50 % of MIP, progressed: PMC6419641; 4 sets, the weeks and the "
             "effort band are ours"),
)


@dataclass(frozen=True)
class Site:
    """One invented site: its share of the clients, how often each protocol is chosen there, unit and manometer."""

    name: str
    share: float
    protocol_shares: tuple[float, float, float]
    unit: str
    gauge: str


SITES = (
    Site("harbour", 0.44, (0.40, 0.35, 0.25), "cmh2o", "gauge-1"),
    Site("mill", 0.33, (0.30, 0.40, 0.30), "cmh2o", "gauge-2"),
    Site("orchard", 0.23, (0.34, 0.33, 0.33), "kpa", "gauge-3"),
)


@dataclass(frozen=True)
class GaugeChange:
    """A manometer that reads otherwise from `on` (step in cmH2O). `label_after` differs where the label changed too."""

    site: str
    label: str
    label_after: str
    on: date
    mip_step_cmh2o: float
    mep_step_cmh2o: float
    told: bool


GAUGE_CHANGES = (
    GaugeChange("mill", "gauge-2", "gauge-2", date(2026, 7, 27), -6.0, -8.0, True),
    GaugeChange("harbour", "gauge-1", "gauge-4", date(2025, 2, 3), 3.0, 4.0, False),
)


@dataclass(frozen=True)
class OutcomeTruth:
    """The true model of one pressure, in cmH2O; time w in 12-week units from the first session.

    y = intercept + male + per_decade_age*(age-65)/10 + site + protocol + s(w)*(gain12 + protocol_gain12) + dose*D
    + effort*E + learning_share*L(test) [only where the baseline was the first test ever] + per_effort_kept*(n-5)
    + u0 + u1*w + error;  s(w) = (1-exp(-w/saturation))/(1-exp(-1/saturation)), so s(1) = 1;
    SD(error) = error_sd * (level/error_level)^error_power.
    """

    intercept: float
    male: float
    per_decade_age: float
    site: dict[str, float]
    site_slope: dict[str, float]
    protocol: dict[str, float]
    gain12: float
    protocol_gain12: dict[str, float]
    dose: float
    effort: float
    saturation: float
    client_sd: float
    slope_sd: float
    client_slope_correlation: float
    error_sd: float
    error_level: float
    error_power: float
    learning_share: float
    per_effort_kept: float


MIP_TRUTH = OutcomeTruth(
    intercept=56.0, male=16.0, per_decade_age=-4.0,
    site={"harbour": 0.0, "mill": -2.0, "orchard": 3.0}, site_slope={"harbour": 0.0, "mill": 0.0, "orchard": 0.0},
    protocol={"steady_30": 0.0, "firm_5x6": 1.0, "ladder_6": -1.0},
    gain12=3.0, protocol_gain12={"steady_30": 0.0, "firm_5x6": 4.0, "ladder_6": 1.5}, dose=10.0, effort=6.0,
    saturation=0.6, client_sd=16.0, slope_sd=5.0, client_slope_correlation=-0.2,
    error_sd=6.5, error_level=70.0, error_power=0.6, learning_share=0.6, per_effort_kept=0.5,
)
MEP_TRUTH = OutcomeTruth(
    intercept=84.0, male=30.0, per_decade_age=-5.0,
    site={"harbour": 0.0, "mill": -3.0, "orchard": 4.0}, site_slope={"harbour": 0.0, "mill": 0.0, "orchard": 0.0},
    protocol={"steady_30": 0.0, "firm_5x6": 2.0, "ladder_6": 0.0},
    gain12=3.0, protocol_gain12={"steady_30": 0.0, "firm_5x6": 3.0, "ladder_6": 0.0}, dose=12.0, effort=4.0,
    saturation=0.6, client_sd=24.0, slope_sd=7.0, client_slope_correlation=-0.2,
    error_sd=10.0, error_level=100.0, error_power=0.6, learning_share=0.4, per_effort_kept=0.6,
)


@dataclass(frozen=True)
class DropOut:
    """Chance of leaving after a test: inverse logit of `level` + `per_cmh2o` * (observed MIP change - 6)
    + `per_adherence` * (share of the last interval done - 0.75). It depends only on what was seen (MAR)."""

    level: float = -2.9
    per_cmh2o: float = -0.05
    per_adherence: float = -2.5
    before_any_retest: float = 0.05


@dataclass(frozen=True)
class Scenario:
    """One cohort to simulate. Dates are days; shares are 0 to 1."""

    n_clients: int = 420
    first_start_on: date = date(2023, 4, 3)
    last_start_on: date = date(2026, 8, 24)
    data_until_on: date = date(2026, 9, 30)
    share_with_sessions: float = 0.48
    share_diary_lost: float = 0.25
    share_naive: float = 0.4
    share_with_mep: float = 0.85
    illness_per_week: float = 0.012
    adherence_a: float = 6.0
    adherence_b: float = 2.2
    in_band_a: float = 4.0
    in_band_b: float = 2.6
    drop_out: DropOut = field(default_factory=DropOut)
    mip: OutcomeTruth = MIP_TRUTH
    mep: OutcomeTruth = MEP_TRUTH
    sites: tuple[Site, ...] = SITES
    protocols: tuple[Protocol, ...] = PROTOCOLS
    gauge_changes: tuple[GaugeChange, ...] = GAUGE_CHANGES
    effort_reference_share: float = Settings().effort_reference_share
    peak_over_plateau: dict[str, float] = field(default_factory=lambda: {"mip": 1.19, "mep": 1.11})

    def outcome(self, pressure: str) -> OutcomeTruth:
        return self.mip if pressure == "mip" else self.mep

    def protocol(self, name: str) -> Protocol:
        return next(p for p in self.protocols if p.name == name)

    def site(self, name: str) -> Site:
        return next(s for s in self.sites if s.name == name)
