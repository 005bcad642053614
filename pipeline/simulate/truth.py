"""The truth of a simulated cohort, for truth.json: every parameter, every planted fault, query and client kind."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from pipeline.simulate.archetypes import KINDS
from pipeline.simulate.outcomes import shape
from pipeline.simulate.queries import Case
from pipeline.simulate.scenario import OutcomeTruth, Scenario


def contrasts(truth: OutcomeTruth, reference: str) -> dict[str, dict[str, float]]:
    """Return the true differences of the other protocols to `reference` at the same dose, in cmH2O, by week."""
    base = truth.protocol_gain12[reference]
    return {
        name: {f"week_{weeks}": round((gain - base) * shape(weeks / 12, truth.saturation), 6) for weeks in (12, 24)}
        for name, gain in truth.protocol_gain12.items() if name != reference
    }


def outcome(truth: OutcomeTruth, reference: str) -> dict[str, Any]:
    """Return one pressure's parameters in words and numbers; `dose` and `effort` are per 12 weeks' worth."""
    return {
        **asdict(truth), "reference_protocol": reference,
        "protocol_difference_in_gain": contrasts(truth, reference),
        "mean_curve_weeks": {str(w): round(truth.gain12 * shape(w / 12, truth.saturation), 6) for w in (4, 8, 12, 24)},
    }


def kinds(cases: list[Case]) -> dict[str, Any]:
    """Return each planted kind with its keys, the states that are right for it, and the reason to be found."""
    return {
        k.name: {"client_keys": sorted(c.person.key for c in cases if c.person.kind is k),
                 "expected_states": list(k.states), "expected_reason": k.reason,
                 "slope_left_cmh2o_per_12_weeks": k.slope, "added_path_week_cmh2o": [list(p) for p in k.path]}
        for k in KINDS
    }


def whole_truth(seed: int, scenario: Scenario, cases: list[Case]) -> dict[str, Any]:
    """Return what does not depend on where the rows stand in the files."""
    gauges = [{**asdict(c), "on": c.on.isoformat()} for c in scenario.gauge_changes]
    reference = scenario.protocols[0].name
    people = [c.person for c in cases]
    return {
        "about": "An invented network of three sites. No person, place or measurement is real.",
        "seed": seed,
        "data_from_on": scenario.first_start_on.isoformat(), "data_until_on": scenario.data_until_on.isoformat(),
        "n_clients": len(people), "n_with_sessions": sum(p.source == "sessions" for p in people),
        "n_naive_at_baseline": sum(p.is_naive for p in people),
        "shares": {"diary_lost": scenario.share_diary_lost, "naive": scenario.share_naive,
                   "with_mep": scenario.share_with_mep, "illness_per_week": scenario.illness_per_week},
        "adherence_beta": [scenario.adherence_a, scenario.adherence_b],
        "in_band_beta": [scenario.in_band_a, scenario.in_band_b],
        "effort_reference_share": scenario.effort_reference_share,
        "sites": [asdict(s) for s in scenario.sites], "protocols": [asdict(p) for p in scenario.protocols],
        "model": " ".join((OutcomeTruth.__doc__ or "").split()),
        "mip": outcome(scenario.mip, reference), "mep": outcome(scenario.mep, reference),
        "drop_out": asdict(scenario.drop_out), "gauge_changes": gauges,
        "peak_over_plateau": scenario.peak_over_plateau,
        "metric_switched": sorted(p.key for p in people if p.peak_from_test),
        "movers": sorted(c.person.key for c in cases if len(c.rows["episodes"]) == 2),
        "kinds": kinds(cases),
    }
