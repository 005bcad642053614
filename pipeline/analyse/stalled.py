"""The stalled list: every active client judged once for the quarter, with reasons before blame and questions."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import polars as pl

from pipeline.analyse.common import Frames, Section, group
from pipeline.analyse.effects import measurement_error
from pipeline.analyse.fits import Models, PressureModels
from pipeline.analyse.stalled_evidence import Cutter, evidence, usual_effort
from pipeline.analyse.stalled_people import judged
from pipeline.analyse.stalled_series import add_pressure_series, add_training_series, fitted_curves
from pipeline.identity.quarters import day_words
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stats import reasons as why
from pipeline.stats.questions import questions
from pipeline.stats.reasons import Evidence, has_high_dose, reasons
from pipeline.stats.stalled_flags import STUDY_COMMAND, flagged_shares
from pipeline.stats.stalled_frames import judge_clients, order_of_checking
from pipeline.stats.stalled_rule import FALLING, FALSE_FALLING_SHARE, STALLED, STATES, StalledRule, rule_from

NAMES = {
    why.TEST_CHANGED: "the test changed", why.TOO_FEW_TESTS: "too few tests", why.ILLNESS: "illness, pause or event",
    why.EASED: "eased settings", why.DIARIES_MISSING: "diaries missing", why.LOW_DOSE: "fewer sessions than planned",
    why.EFFORT_UNDER: "effort under the band", why.EFFORT_OVER: "effort over the band",
    why.ROOM: "setting unchanged while effort fell", why.NO_RISE_EXPECTED: "a rise is not expected",
    why.WHOLE_PLAN: "no single reason",
}  # fmt: skip
RHYTHMS = {"every 2 weeks": "two_weekly", "every 4 weeks": "four_weekly", "gaps of 2 to 6 weeks": "gaps_2_to_6_weeks"}
ALLOWANCES = {"none": 0.0, "half": 4.5, "full": 9.0}
"""Learning allowances shown beside the one in force: 0, 1/2 and 1 of Larson 1993's +9 cmH2O."""
LISTED = (FALLING, STALLED)


def results(frames: Frames, settings: Settings, quarter: str, models: Models) -> ResultSet:
    """Rows of the report "stalled": states by pressure, the rule's own error, and one set of rows for each client."""
    section, rule = Section("stalled", "how_many"), rule_from(settings)
    worklist = Section("stalled", "worklist")
    everybody = {pressure: judged(frames, quarter, found, rule) for pressure, found in models.items()}
    sems = {pressure: measurement_error(found, settings).sem for pressure, found in models.items()}
    whole = pl.concat(everybody.values(), how="diagonal_relaxed") if everybody else pl.DataFrame()
    ranked = order_of_checking(judge_clients(whole, frames["model"], rule, residual_sd_cmh2o=sems))
    seen: set[str] = set()
    for pressure, people in everybody.items():
        if people.is_empty():
            section.state("nobody who was trained or tested this quarter has a test of this pressure",
                          group(pressure=pressure))  # fmt: skip
            continue
        verdicts = ranked.filter(pl.col("pressure") == pressure)
        _counts(section, pressure, people, frames["model"], verdicts, rule, sems[pressure])
        _clients(worklist, frames, quarter, models[pressure], people, verdicts, rule, sems[pressure], seen)
    _rule_error(section, settings)
    done = worklist.done() if worklist.rows else ResultSet(())
    return section.done() + done


def _counts(
    section: Section, pressure: str, people: pl.DataFrame, tests: pl.DataFrame, verdicts: pl.DataFrame,
    rule: StalledRule, sem: float,
) -> None:  # fmt: skip
    """How many of how many: every state, and the stalled under three sizes of the learning allowance."""
    where = group(pressure=pressure)
    total = section.add("people", where, n=verdicts.height)
    states = verdicts["state"].to_list()
    section.sum_of(total, [section.add("people", f"{where};state={s}", n=states.count(s)) for s in STATES])
    for name, size in ALLOWANCES.items() if pressure == "mip" else ():
        other = replace(rule, allowance_cmh2o=size)
        share = [other.allowance_after(n or 0) for n in people["prior_test_days"].to_list()]
        again = people.with_columns(pl.Series("learning_allowance_cmh2o", share, dtype=pl.Float64))
        flags = judge_clients(again, tests, other, residual_sd_cmh2o={pressure: sem})["state"].to_list()
        section.add("stalled_people", f"{where};learning={name}", n=flags.count(STALLED),
                    note="the same rule with this learning allowance for people new to the test")  # fmt: skip


def _rule_error(section: Section, settings: Settings) -> None:
    """What the rule does to people of known kinds: measured in a simulation, not in this cohort."""
    for row in flagged_shares(settings.learning_allowance_cmh2o):
        for rhythm, field in RHYTHMS.items():
            section.add("flagged_pct", group(kind=row.kind, learning=row.learning, tests=rhythm),
                        value=100.0 * float(getattr(row, field)), unit="%", method=f"simulated: {STUDY_COMMAND}",
                        note="share of people of this kind called stalled")  # fmt: skip
    for (every, weeks), (once, each) in FALSE_FALLING_SHARE.items():
        for looks, share in (("one look", once), ("a look after every test", each)):
            section.add("false_falling_pct", group(tests=f"every {every} weeks", weeks=str(weeks), looks=looks),
                        value=100.0 * share, unit="%", method="simulated: python -m tests.studies.falling_looks",
                        note="share of unchanged people called falling")  # fmt: skip


def _clients(
    section: Section, frames: Frames, quarter: str, models: PressureModels, people: pl.DataFrame,
    verdicts: pl.DataFrame, rule: StalledRule, sem: float, seen: set[str],
) -> None:  # fmt: skip
    """All rows of every judged client; what does not depend on the pressure is given once."""
    courses = {row["client_key"]: row for row in people.iter_rows(named=True)}
    curves = fitted_curves(models)
    cutter = Cutter(frames, models.pressure)
    own_curve = curves.partition_by("client_key", as_dict=True)
    for verdict in verdicts.iter_rows(named=True):
        key = verdict["client_key"]
        course = courses[key]
        records = cutter.records(key, course["course_no"])
        facts = evidence(records, frames["instruments"], course, verdict)
        name = f"{key};pressure={models.pressure}"
        _verdict_rows(section, name, verdict, course, quarter)
        _evidence_rows(section, name, facts, verdict["state"], rule)
        since = float(course["look_week"]) - float(verdict["slope_window_weeks"] or rule.window_weeks)
        section.add("usual_effort", name, value=usual_effort(records, since, float(course["look_week"])), unit="0-10",
                    klass="client")  # fmt: skip
        add_pressure_series(section, name, records, own_curve.get((key,), curves.clear()), sem)
        if key not in seen:
            seen.add(key)
            section.add("site", key, text=course["site"], klass="client")
            add_training_series(section, key, records, course["week0_on"])


def _verdict_rows(
    section: Section, name: str, verdict: dict[str, Any], course: dict[str, Any], quarter: str
) -> None:
    def add(statistic: str, **fields: Any) -> None:
        section.add(statistic, name, klass="client", **fields)

    add("state", text=verdict["state"], note=verdict["reason"])
    add("order", value=float(verdict["checking_rank"]))
    add("slope", value=verdict["slope_cmh2o_per_week"], low=verdict["slope_low"], high=verdict["slope_high"],
        unit="cmH2O/week", n=verdict["slope_tests"], n_of="tests", text=verdict["slope_verdict"],
        method="least squares in the window, error pooled by the model, 90 % interval")  # fmt: skip
    gain, error = verdict["gain_cmh2o"], verdict["gain_std_error_cmh2o"]
    half = None if error is None else 1.645 * error
    add("gain", value=gain, low=None if half is None else gain - half, high=None if half is None else gain + half,
        unit="cmH2O", text=verdict["gain_verdict"], method="model, baseline to last test, 90 % interval")  # fmt: skip
    add("probability_below_target", value=verdict["probability_below_target"], unit="probability")
    add("power_if_flat", value=verdict["power_if_flat"], unit="probability")
    add("tests_since", n=verdict["tests"], n_of="tests")
    week = verdict["next_test_week"]
    due = "none due" if week is None else day_words(course["week0_on"] + timedelta(days=7 * int(week)), quarter)
    add("next_test_on", text=due, value=verdict["next_test_power"], unit="probability")


def _evidence_rows(section: Section, name: str, facts: Evidence, state: str, rule: StalledRule) -> None:
    """Dose and effort, every reason with its mark, and up to three questions."""
    section.add("adherence", name, value=facts.adherence_pct, unit="%", klass="client")
    section.add("logged", name, value=facts.logged_pct, unit="%", klass="client")
    if has_high_dose(facts, rule):
        section.add("high_dose", name, text="more than the plan, or effort over the band", klass="client")
    found = reasons(facts, rule)
    for rank, reason in enumerate(found, 1):
        section.add("reason", name, at=float(rank), text=f"{NAMES[reason.code]}: {reason.text}", note=reason.mark,
                    method=reason.code, klass="client")  # fmt: skip
    for rank, question in enumerate(questions(found, facts, rule, state=state), 1):
        section.add("question", name, at=float(rank), text=question, klass="client")
