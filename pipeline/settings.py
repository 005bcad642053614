"""Every threshold, with unit, meaning and source; read from TOML; stored as the one-row table `settings.current`."""

from __future__ import annotations

import tomllib
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

from pipeline.errors import SettingsError

OURS = "a choice of ours, no source"
PRACTICE = "common practice, no source"


def _set(default: Any, unit: str, meaning: str, source: str = OURS) -> Any:
    return field(default=default, metadata={"unit": unit, "meaning": meaning, "source": source})


@dataclass(frozen=True)
class Settings:
    """The thresholds of one run. Each field's metadata holds `unit`, `meaning` and `source`."""

    data_until_on: str = _set("", "day", "last day the data speak for (ISO); empty: the last day found in the data")
    date_policy: str = _set("limited", "", "limited: calendar dates are kept, a limited data set, internal; relative: "
                            "only days from each client's own start are taken",
                            "45 CFR 164.514(b)(2)(i)(C) and 164.514(e)")
    usual_dose_assumed: bool = _set(False, "yes/no", "where no dose is prescribed, assume the usual dose and say so")
    usual_sessions_per_day: int = _set(2, "sessions", "usual dose", PRACTICE)
    usual_days_per_week: int = _set(6, "days", "usual dose", PRACTICE)
    usual_sets_per_session: int = _set(2, "sets", "usual dose", PRACTICE)
    usual_breaths_per_set: int = _set(10, "breaths", "usual dose", PRACTICE)
    usual_effort_low: float = _set(5.0, "0-10", "foot of the usual target effort band, included", PRACTICE)
    usual_effort_high: float = _set(7.0, "0-10", "top of the usual target effort band, included", PRACTICE)
    baseline_days_before: int = _set(42, "days", "a baseline test may lie this long before the start")
    baseline_days_after: int = _set(7, "days", "or this long after it")
    window_12_low_weeks: int = _set(10, "weeks", "first week of the 12-week test window")
    window_12_high_weeks: int = _set(16, "weeks", "last week of the 12-week test window")
    open_pause_days: int = _set(42, "days", "an open pause older than this is a query")
    pause_event_days: int = _set(7, "days", "a pause for illness without an event in it or so long before is a query")
    tests_after_course_days: int = _set(42, "days", "a test so long after a course's last day still speaks for it")
    lost_contact_days: int = _set(84, "days", "no record for this long in an open episode is a query")
    familiar_tests: int = _set(3, "tests", "tests on earlier days after which learning is taken as spent",
                               "Larson 1993, Chest 104:448: +2 of +9 cmH2O between the 3rd and 4th test")
    effort_reference_share: float = _set(0.5, "share", "share of rated sessions in band at which E counts nothing")
    logged_share_for_dose_reason: float = _set(75.0, "%", "weeks logged before low dose may be given as a reason")
    low_adherence_pct: float = _set(50.0, "%", "session adherence under this is a possible reason for little gain")
    over_dose_pct: float = _set(120.0, "%", "session adherence over this has its own line")
    mip_target_gain_cmh2o: float = _set(17.0, "cmH2O", "target gain in MIP",
                                        "Iwakura 2021, PMC8111409: 17.2-17.6 in COPD, distribution-based")
    mep_target_gain_cmh2o: float = _set(0.0, "cmH2O", "target gain in MEP; 0: none is set (none found published)")
    learning_allowance_cmh2o: float = _set(4.5, "cmH2O", "part of a gain taken as learning for a first-ever baseline",
                                           "half of Larson 1993's +9 cmH2O")
    stalled_probability: float = _set(0.9, "probability", "evidence needed on the gain axis")
    stalled_slope_se: float = _set(1.26, "cmH2O/week", "widest slope standard error that can be judged")
    stalled_window_weeks: int = _set(12, "weeks", "slope window")
    stalled_wide_window_weeks: int = _set(24, "weeks", "slope window where the narrow one is too uncertain")
    stalled_z: float = _set(1.645, "SE", "one-sided 5 % of the normal distribution", "normal table")
    quiet_days_after_event: int = _set(28, "days", "no question about room to progress this soon after an event")
    entry_below_mip_cmh2o: float = _set(0.0, "cmH2O", "people are taken in because their measured MIP lies below this; "
                                        "0: not by a measured pressure")
    entry_below_mep_cmh2o: float = _set(0.0, "cmH2O", "the same for MEP")
    mip_sem_cmh2o: float = _set(8.0, "cmH2O", "measurement error of MIP between days where the cohort cannot tell",
                                "Fisioterapia Brasil 2019-20, n=70: 7.92")
    mep_sem_cmh2o: float = _set(12.0, "cmH2O", "measurement error of MEP between days where the cohort cannot tell",
                                "the same: 12.34")
    small_cell_max: int = _set(10, "people", "cells of 1 to this many are hidden in the shared edition",
                               "CMS cell size suppression policy: 1 to 10 hidden, 0 allowed")
    min_clients_rung_1: int = _set(150, "people", "rung R1 needs this many clients")
    min_four_tests_rung_1: int = _set(100, "people", "and this many with four tests or more")
    min_per_protocol_rung_1: int = _set(20, "people", "and this many per protocol past 12 weeks")
    min_clients_rung_2: int = _set(60, "people", "rung R2 needs this many clients")
    min_clients_rung_3: int = _set(30, "people", "rung R3 needs this many clients")
    widest_protocol_difference_cmh2o: float = _set(9.0, "cmH2O", "widest useful detectable difference")
    mip_worthwhile_cmh2o: float = _set(13.5, "cmH2O", "smallest worthwhile difference of MIP gains: the band behind "
                                       "contrasts", "Clin Rehabil 2023;37:1521: change of a person with severe COPD "
                                       "that goes with a grade of breathlessness, n=73; none is published for groups")
    mep_worthwhile_cmh2o: float = _set(0.0, "cmH2O", "the same for MEP; 0: none is set (none found published)")
    widest_per_10_points_cmh2o: float = _set(2.0, "cmH2O", "the same, dose and effort, per 10 points")
    widest_block_vif: float = _set(10.0, "ratio", "a variance inflation of a block above this cannot answer")
    time_knots_3_weeks: str = _set("0 4 12 26", "weeks", "knots of the natural spline of time on rung R1")
    time_knots_2_weeks: str = _set("0 8 26", "weeks", "knots of the natural spline of time on rung R2")
    planning_level_sd_cmh2o: float = _set(20.0, "cmH2O", "spread of MIP between people, as planned with")
    planning_slope_sd_cmh2o: float = _set(7.0, "cmH2O/12 weeks", "spread of MIP slopes, as planned with")
    answer_share: float = _set(0.667, "share", "up to this part of the widest useful difference the cohort can "
                               "answer, above it only roughly")
    site_overlap_people: int = _set(15, "people", "a protocol counts as given at a site from this many people on")
    site_overlap_sites: int = _set(2, "sites", "given at fewer sites than this, a protocol needs site x time")
    sites_random_from: int = _set(5, "sites", "site is a random term from this many sites on, fixed below")
    rule_uses_measured_value: bool = _set(False, "yes/no", "where a written rule assigns the protocol, it does so on "
                                          "the measured pressure: contrasts then take the baseline as a covariate")
    min_per_protocol_weights: int = _set(50, "people", "protocols are weighted by propensity from this many people "
                                         "each on")
    repeat_days: int = _set(14, "days", "two comparable tests at most this far apart are repeat tests of one state")
    min_repeat_people: int = _set(20, "people", "measurement error is the cohort's own from this many people with "
                                  "repeat tests on")
    set_aside_max_pct: float = _set(25.0, "%", "a file with more rows set aside than this is refused whole")
    engine_slices: int = _set(0, "slices", "slices of clients for `--engine slices`; 0: by the size of the input")
    bootstrap_draws: int = _set(400, "draws", "draws of the client bootstrap")
    seed: int = _set(20260925, "", "seed of every resampling")
    language: str = _set("en", "", "language of the pages: en, or a catalogue in reports/languages")
    high_is_good: bool = _set(True, "yes/no", "a higher pressure is better (charts over quarters)")

    def as_row(self) -> dict[str, Any]:
        """Return the settings as one row, name to value."""
        return asdict(self)


def from_mapping(given: dict[str, Any], where: str) -> Settings:
    """Build Settings from parsed TOML; SettingsError names every unknown name and every value of the wrong kind."""
    known = {f.name: type(f.default) for f in fields(Settings)}
    faults = [f"'{name}' is not a setting" for name in given if name not in known]
    for name, value in given.items():
        wanted = known.get(name)
        good = wanted is None or isinstance(value, wanted) or (wanted is float and isinstance(value, int))
        if not good or (wanted is not bool and isinstance(value, bool)):
            faults.append(f"'{name}' is not of the kind {wanted.__name__ if wanted else '?'}")
    if faults:
        raise SettingsError("; ".join(faults), where=where, now="mend these lines and run again",
                            expected="names and kinds as in the settings table of the README")
    clean: dict[str, Any] = {n: float(v) if known[n] is float else v for n, v in given.items()}
    return Settings(**clean)


def load(path: Path | None) -> Settings:
    """Read settings from a TOML file, or return the defaults when there is none."""
    if path is None:
        return Settings()
    try:
        given = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise SettingsError("the settings file cannot be read", where=path.name, expected="a TOML file in UTF-8",
                            now="check the path and the file's syntax") from fault
    return from_mapping(given, path.name)


def readme_table() -> str:
    """Return every setting as a Markdown table: name, default, unit, meaning, source."""
    rows = ["| setting | default | unit | meaning | source |", "|---|---|---|---|---|"]
    for f in fields(Settings):
        shown = str(f.default).lower() if isinstance(f.default, bool) else str(f.default)
        told = (f.metadata[name] for name in ("unit", "meaning", "source"))
        rows.append(f"| `{f.name}` | {shown} | {' | '.join(told)} |")
    return "\n".join(rows)
