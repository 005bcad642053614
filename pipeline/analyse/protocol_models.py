"""Protocols by the model: what was fitted, how they differ and how surely, dose and effort, whether to believe it."""

from __future__ import annotations

from dataclasses import fields
from math import sqrt

import numpy as np
import polars as pl
from scipy.special import ndtri

from pipeline.analyse.association import TEN_POINTS, association
from pipeline.analyse.baselines import COVARIATE
from pipeline.analyse.common import FEWEST_FOR_TENTHS, Frames, Section, group
from pipeline.analyse.effects import KR, measurement_error, put, put_robustness, reads_24_weeks
from pipeline.analyse.fits import Fitted, Models, PressureModels
from pipeline.analyse.gains import CURVE_WEEKS
from pipeline.analyse.models import formula_in_words
from pipeline.analyse.who import LABELS
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stats import CannotFit, Contrast, holm, predict, random_effects, standardised_effect

BONFERRONI = "Bonferroni interval: all of the family hold their true values together in 95 % of such cohorts"
BEYOND = 10
"""Values that must lie beyond a printed quantile."""


def fitted(models: Models, settings: Settings) -> ResultSet:
    """Section "fitted": formula, state, every term with its interval, random parts."""
    section = Section("protocols", "fitted")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        primary = found.primary
        if primary is None or found.gate is None:
            section.state("Too few people have two comparable tests for a model.", group=where)
            continue
        section.add("formula", where, text=formula_in_words(primary.built))
        section.add("fit_state", where, text=primary.state)
        section.add("rung", where, text=found.gate.rung, note=found.gate.recipe.meaning)
        section.add("people", where, n=primary.people)
        tests = {"n_of": "tests", "n_people": primary.people}
        section.add("tests", where, n=primary.tests, **tests)
        lost, people = found.without_dose
        section.add("rows_without_dose", where, n=lost, n_of="tests", n_people=people,
                    note="tests whose dose or effort before them is not known")
        if primary.works:
            _terms(section, primary, where, settings.small_cell_max)
            _random(section, primary, where)
    return section.done()


def _terms(section: Section, primary: Fitted, where: str, few: int) -> None:
    assert primary.reading is not None
    for row in primary.reading.mean_terms.iter_rows(named=True):
        name = f"{where};term={row['term']}"
        n = _people_of_term(primary, row["term"], few)
        if row["estimate"] is None:
            section.add("mean_term", name, unit="cmH2O per unit", text="not identified on these rows")
            continue
        section.add("mean_term", name, value=row["estimate"], low=row["low"], high=row["high"], unit="cmH2O per unit",
                    method=KR, n=n)
        section.add("mean_term_se", name, value=row["std_error"], unit="cmH2O per unit", n=n)
        section.add("mean_term_df", name, value=row["df"], unit="degrees of freedom", n=n)


def _people_of_term(primary: Fitted, term: str, few: int) -> int:
    """Everybody in the model; of a term that names a level of 1 to `few` people, "sex[T.male]", those of the level.

    What is told of a few people is hidden by that. How many a larger level has is told by no term: less the levels that
    are named it would give the one that is not.
    """
    columns = [c for c in LABELS if c in primary.who.frame.columns]
    of_levels = [n for c in columns for label, n in primary.who.levels(c).items() if f"{c}[T.{label}]" in term]
    return min((n for n in of_levels if 1 <= n <= few), default=primary.people)


def _random(section: Section, primary: Fitted, where: str) -> None:
    assert primary.reading is not None
    fit = primary.reading
    section.add("residual_sd_cmh2o", where, value=fit.residual_sd, unit="cmH2O")
    section.add("log_likelihood", where, value=fit.log_likelihood, unit="log-likelihood", method="REML")
    for varies in fit.model.varies:
        names, psi = fit.covariance(varies.by)
        for k, name in enumerate(names):
            sd = sqrt(max(float(psi[k, k]), 0.0))
            section.add("random_sd_cmh2o", f"{where};by={varies.by};term={name}", value=sd,
                        unit="cmH2O" if name == "Intercept" else "cmH2O per 12 weeks")
    names, psi = fit.covariance("client_key")
    section.add("icc", where, value=float(psi[0, 0] / (psi[0, 0] + fit.residual_sd**2)), unit="share",
                method="between-person variance at week 0 over itself and the residual variance")
    if len(names) == 2 and psi[0, 0] > 0 and psi[1, 1] > 0:
        section.add("random_correlation", where, value=float(psi[0, 1] / sqrt(psi[0, 0] * psi[1, 1])),
                    unit="correlation", note="of level at week 0 and slope; depends on where week 0 lies")


def _weeks(primary: Fitted) -> tuple[float, ...]:
    return (12.0, 24.0) if reads_24_weeks(primary) else (12.0,)


def _differences(section: Section, found: PressureModels, primary: Fitted, settings: Settings, where: str) -> None:
    """Contrasts of every pair that can be told apart, Holm over all of them at 12 and 24 weeks together."""
    look, fit = primary.look, found.contrast_fit
    assert look is not None
    section.add("baseline_handling", where, text=found.handling.name, note=found.handling.why)
    if fit is None:
        section.state("The model that the assignment of people asks for could not be fitted.", group=where)
        return
    pairs = [p for p in found.pairs if set(p) <= set(look.protocols)]
    family = [(a, b, w, fit.read(found.difference(a, b, w))) for w in _weeks(primary) for a, b in pairs]
    read = [(a, b, w, c) for a, b, w, c in family if c is not None]
    adjusted = dict(zip([(a, b, w) for a, b, w, _ in read], holm(np.array([c.p for *_, c in read])), strict=True))
    section.add("family_size", where, value=float(len(read)), unit="contrasts",
                text="every pair of protocols at each week read; Holm over all of them")
    error = measurement_error(found, settings)
    together = 1.0 - 0.05 / max(len(read), 1)
    for a, b, week, contrast in family:
        at = f"{where};protocols={a} - {b}"
        put(section, "difference_cmh2o", at, contrast, at=week)
        put(section, "difference_adjusted_cmh2o", at, fit.read(found.difference(a, b, week), together), at=week,
            method=BONFERRONI)
        if contrast is None:
            continue
        section.add("p_value", at, at=week, value=contrast.p, unit="p", method="t with Kenward-Roger df")
        section.add("p_holm", at, at=week, value=float(adjusted[a, b, week]), unit="p", method="Holm")
        section.add("df", at, at=week, value=contrast.df, unit="degrees of freedom")
        section.add("difference_per_sdc95", at, at=week, value=contrast.estimate / error.sdc95, unit="SDC95",
                    text="divided by the smallest change of one person beyond error")
        put_robustness(section, at, contrast, at=week, n=fit.people)
        if week == 12.0:
            _graded(section, fit, found.difference(a, b, week), at, found.handling.name == COVARIATE)
    lost = sorted(found.gate.inseparable) if found.gate else []
    for protocol in lost:
        section.add("not_separable", f"{where};protocol={protocol}", text="given at one site only: no contrast")


def _graded(section: Section, primary: Fitted, weights: np.ndarray, at: str, has_covariate: bool) -> None:
    """The 80 and 50 % intervals of a contrast, and Hedges' g."""
    for level, name in ((0.8, "difference_80_cmh2o"), (0.5, "difference_50_cmh2o")):
        put(section, name, at, primary.read(weights, level), at=12.0)
    assert primary.reading is not None
    if has_covariate:  # its variance is what the baseline leaves over: no SD of a person's pressure
        section.add("hedges_g", at, at=12.0, unit="SD", text="not given: the baseline is a covariate here")
        return
    try:
        found = standardised_effect(primary.reading, weights)
    except CannotFit:
        section.add("hedges_g", at, at=12.0, unit="SD", text="the model cannot give this")
        return
    section.add("hedges_g", at, at=12.0, value=found.g, low=found.low, high=found.high, unit="SD",
                text="divided by the SD of one client's observed pressure at week 0, given the covariates",
                method="Pustejovsky, Hedges and Shadish 2014; interval by the noncentral t")


def difference(models: Models, settings: Settings) -> ResultSet:
    """Section "difference": gains of each protocol, then their differences, adjusted first."""
    section = Section("protocols", "difference")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        primary = found.working("primary")
        answer = found.gate.answers["protocol"] if found.gate else None
        if primary is None or answer is None or not answer.is_open or primary.look is None:
            section.state("This cohort cannot answer which protocol does better"
                          + (f": {answer.why}." if answer else "."), group=where)
            continue
        for protocol in sorted(primary.look.protocols):
            at = f"{where};protocol={protocol}"
            n = primary.who.levels("protocol")[protocol]
            for week in _weeks(primary):
                put(section, "protocol_gain_cmh2o", at, primary.read(primary.look.gain(week, protocol)), at=week, n=n)
            for week in CURVE_WEEKS:
                if 0.0 < week <= _weeks(primary)[-1]:
                    put(section, "protocol_gain_curve_cmh2o", at, primary.read(primary.look.gain(week, protocol)),
                        at=week, n=n)
        _differences(section, found, primary, settings, where)
        _worthwhile(section, pressure, settings)
        needed = found.gate is not None and found.gate.needs_site_slope
        section.add("site_time", where, text=f"site x time {'stands in the model' if needed else 'is not needed'}")
    return section.done()


def _worthwhile(section: Section, pressure: str, settings: Settings) -> None:
    """The smallest worthwhile difference of the settings and where it comes from; nothing where none is set."""
    name = f"{pressure}_worthwhile_cmh2o"
    value = float(getattr(settings, name))
    source = next(f.metadata["source"] for f in fields(settings) if f.name == name)
    where = group(pressure=pressure)
    if value > 0:
        section.add("smallest_worthwhile_cmh2o", where, value=value, unit="cmH2O", text=name, method=source)
    else:
        section.add("smallest_worthwhile_cmh2o", where, unit="cmH2O", text="none is set", method=source)


def _put_dose(section: Section, where: str, form: str, effort: str, found: Contrast | None) -> None:
    put(section, "dose_per_10_points_cmh2o", f"{where};form={form};effort={effort}", found)


def dose_response(models: Models) -> ResultSet:
    """Section "dose_response": dose three ways, bounds, effort, lead test and the headline rule."""
    section = Section("protocols", "dose_response")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        primary = found.working("primary")
        if primary is None or primary.look is None or found.gate is None or not found.gate.answers["dose"].is_open:
            section.state("This cohort cannot answer what goes with dose.", group=where)
            continue
        seen = association(found)
        _put_dose(section, where, "past", "with", seen.dose)
        _put_dose(section, where, "past", "without", seen.dose_alone)
        _put_dose(section, where, "between", "with", seen.between)
        _put_dose(section, where, "within", "with", seen.within)
        for name in ("unlogged_none", "unlogged_done"):
            bound = found.working(name)
            put(section, f"dose_if_{name}_cmh2o", where, bound.term("dose_d", TEN_POINTS) if bound else None)
        put(section, "effort_per_10_points_cmh2o", where, primary.term("effort_e", TEN_POINTS))
        put(section, "lead_test_cmh2o", where, seen.lead, text="per 10 points of the next interval's dose")
        section.add("lead_test_p", where, value=seen.lead.p if seen.lead else None, unit="p")
        section.add("lead_test_power", where, value=seen.lead_power, unit="probability",
                    method="were the next interval's dose tied to the gain as strongly as past dose seems")
        section.add("between_within_equal_p", where, value=seen.equal_p, unit="p")
        section.add("headline", where, text="shown" if seen.shown else "not shown", note="; ".join(seen.why))
        put_robustness(section, where, seen.dose, n=primary.people)
        for share in range(0, 121, 10):
            put(section, "partial_gain_cmh2o", where, primary.read(primary.look.gain(12.0, dose=share / 100)),
                at=float(share), n=primary.people)
        _deciles(section, primary, where)
    return section.done()


def _deciles(section: Section, primary: Fitted, where: str) -> None:
    """Deciles of the share of the dose that people did up to their last test."""
    last = primary.rows.filter(pl.col("time12") > 0).sort("client_key", "tested_on").group_by(
        "client_key", maintain_order=True).agg(pl.col("dose_d", "time12").last())  # fmt: skip
    share = (100.0 * last["dose_d"] / last["time12"]).to_numpy()
    if share.size < FEWEST_FOR_TENTHS:
        return
    for tenth in range(10, 91, 10):
        section.add("adherence_decile_pct", where, at=float(tenth), n=primary.rows.height, n_of="tests", unit="%",
                    value=float(np.quantile(share, tenth / 100)))


def believable(frames: Frames, models: Models) -> ResultSet:
    """Section "believable": quantiles of residuals and clients, observed against fitted, spread by level."""
    del frames
    section = Section("protocols", "believable")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        primary = found.working("primary")
        if primary is None or primary.fit is None or primary.look is None or primary.people < FEWEST_FOR_TENTHS:
            section.state("No model with enough people to look at its residuals.", group=where)
            continue
        near = predict(primary.fit, primary.look.frame, parameter_uncertainty=False)["estimate"].to_numpy()
        seen = primary.look.frame["value_cmh2o"].to_numpy()
        many = {"n": seen.size, "n_of": "tests", "n_people": primary.people, "unit": "cmH2O"}
        for p in inner_quantiles(50, seen.size):
            section.add("residual_quantile_cmh2o", where, at=round(float(ndtri(p)), 4),
                        value=float(np.quantile(seen - near, p)), **many)
        for name, column in (("1", "Intercept"), ("time", "time12")):
            _client_quantiles(section, primary, column, f"{where};term={name}")
        order = np.argsort(near, kind="stable")
        for tenth, part in enumerate(np.array_split(order, 10), start=1):
            for statistic, values in (("observed_cmh2o", seen), ("fitted_cmh2o", near)):
                section.add(statistic, where, at=float(tenth), n=part.size, n_of="tests", unit="cmH2O",
                            value=float(values[part].mean()), n_people=_people(primary, part))
        for third, part in enumerate(np.array_split(order, 3), start=1):
            section.add("residual_sd_by_level_cmh2o", where, at=float(third), n=part.size, n_of="tests", unit="cmH2O",
                        value=float((seen - near)[part].std(ddof=1)), n_people=_people(primary, part))
    return section.done()


def inner_quantiles(count: int, n: int) -> list[float]:
    """Evenly spaced probabilities with more than BEYOND of the n values on either side: no quantile is one person."""
    every = [(k + 0.5) / count for k in range(count)]
    return [p for p in every if min(p, 1 - p) * n > BEYOND]


def _people(primary: Fitted, part: np.ndarray) -> int:
    assert primary.look is not None
    return primary.look.frame["client_key"].gather(part).n_unique()


def _client_quantiles(section: Section, primary: Fitted, column: str, where: str) -> None:
    assert primary.fit is not None
    effects = random_effects(primary.fit, "client_key")
    if column not in effects.columns:
        return
    values = effects[column].to_numpy()
    for p in inner_quantiles(20, values.size):
        section.add("client_quantile_cmh2o", where, at=round(float(ndtri(p)), 4), n=values.size, unit="cmH2O",
                    value=float(np.quantile(values, p)))
