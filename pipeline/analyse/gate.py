"""What this cohort can answer, from who was tested when and on which dose: no outcome is read here.

The smallest difference that 80 % of such cohorts would find at a two-sided 5 % comes from the design matrix X of the
model to be fitted and an assumed V (spread of people, of slopes, of tests): its standard error, times what a t of its
degrees of freedom needs (2.80 in a large cohort, more in a small one).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from math import inf

import numpy as np
import polars as pl

from pipeline.analyse.common import Array
from pipeline.analyse.contrasts import Reader, centred, enough, reader
from pipeline.analyse.models import MODELS, RATED, TERMS, Recipe, build, varying_terms
from pipeline.analyse.who import FEWEST, Who, who_of
from pipeline.settings import Settings
from pipeline.stats.formula import variables
from pipeline.stats.planned import Planned, planned

TEN_POINTS = 0.1
"""Ten points of adherence over 12 weeks, in the units of D."""
PER_12_WEEKS = RATED | {"within": "within_dose"}
APART = 1e-9
"""Share of the information on a direction below which nothing of it is told apart from the other terms."""

Pairs = list[tuple[str, str]]
Measured = tuple[dict[str, float], dict[str, float]]


@dataclass(frozen=True)
class Answer:
    """Whether one question can be answered. more_tests: second tests still needed (None: none, or none would help)."""

    question: str
    verdict: str
    why: str
    more_tests: int | None = None

    @property
    def is_open(self) -> bool:
        """True where numbers may be shown."""
        return self.verdict != "cannot"


@dataclass(frozen=True)
class Gate:
    """The rung of the ladder, the counts behind it, detectable differences in cmH2O and block VIFs, by name."""

    pressure: str
    rung: str
    reason: str
    people: int
    with_3_tests: int
    with_4_tests: int
    retested: int
    past_12_weeks: dict[str, int]
    recipe: Recipe
    detectable: dict[str, float]
    vif: dict[str, float]
    answers: dict[str, Answer]
    needs_site_slope: bool
    inseparable: frozenset[str]


def rung(who: Who, settings: Settings) -> tuple[str, str]:
    """The rung R1 to R4 of these people and the reason in words (without counts)."""
    people = who.people
    fewest = min(past_12_weeks(who).values(), default=0)
    if people < settings.min_clients_rung_3 or 2 * who.having(tests=3) < people:
        return "R4", "fewer people than rung R3 needs" if people < settings.min_clients_rung_3 else (
            "under half of the people have three tests or more")  # fmt: skip
    if people < settings.min_clients_rung_2:
        return "R3", "fewer people than rung R2 needs"
    if people < settings.min_clients_rung_1:
        return "R2", "fewer people than rung R1 needs"
    if who.having(tests=4) < settings.min_four_tests_rung_1:
        return "R2", "too few people with four tests or more for rung R1"
    if fewest < settings.min_per_protocol_rung_1:
        return "R2", "a protocol has too few people past 12 weeks for rung R1"
    return "R1", "enough people, tests and people past 12 weeks in each protocol"


def past_12_weeks(who: Who) -> dict[str, int]:
    """People of each compared protocol with a test at week 12 or later."""
    found = who.levels("protocol", past_12=True)
    return {p: found.get(p, 0) for p in enough(who.levels("protocol"))}


def site_overlap(who: Who, settings: Settings) -> tuple[bool, frozenset[str]]:
    """Whether site x time is needed, and the protocols that stand at one site only (not separable from it)."""
    protocols = who.levels("protocol")
    if len(who.levels("site")) < 2:
        return False, frozenset()
    cells = who.only("protocol", enough(protocols)).cells()
    by_protocol = cells.group_by("protocol").agg(
        (pl.col("people") >= settings.site_overlap_people).sum().alias("full"), pl.len().alias("any")
    )
    thin = by_protocol.filter(pl.col("full") < settings.site_overlap_sites)
    alone = by_protocol.filter(pl.col("any") < 2)["protocol"].to_list()
    return thin.height > 0 and len(protocols) > 1, frozenset(alone)


def assumed_spread(pressure: str, settings: Settings) -> tuple[Array, float]:
    """The V assumed for a design: covariance (2, 2) of a client's level and slope per 12 weeks, which are independent,
    and the SD of the error of one test, in cmH2O."""
    sem = settings.mip_sem_cmh2o if pressure == "mip" else settings.mep_sem_cmh2o
    wide = sem / settings.mip_sem_cmh2o  # MEP spreads wider between people in the same proportion
    level, slope = settings.planning_level_sd_cmh2o * wide, settings.planning_slope_sd_cmh2o * wide
    return np.diag([level**2, slope**2]), sem


def assumed(rows: pl.DataFrame, x: Array, pressure: str, settings: Settings) -> Planned:
    """The design of rows for the assumed V."""
    psi, sem = assumed_spread(pressure, settings)
    z = np.column_stack([np.ones(rows.height), rows["time12"].to_numpy()])
    keys = rows["client_key"].to_numpy()
    starts = np.flatnonzero(np.append(True, keys[1:] != keys[:-1]))
    return planned(x, z, starts, psi, sem)


def block_vif(information: Array, block: list[int], base: list[int]) -> float:
    """Generalised variance inflation of a block of columns, per column: how much the other terms blur it.

    det(block given base) / det(block given all the rest), to the power 1/columns, so the basis of the block does not
    matter. `base` (the intercept and, for other blocks than time, the mean curve) is no blur: a dose that grows with
    time is read as its departure from the mean dose. Infinite where less than APART is left of some direction of the
    block: that is rounding. Source: Fox and Monette 1992, J Am Stat Assoc 87:178-83.
    """
    rest = [k for k in range(len(information)) if k not in block]
    before, after = (_swept(information, block, others) for others in (base, rest))
    size = np.sqrt(np.maximum(np.diag(before), 0.0))
    if size.min() == 0.0:
        return inf
    own, turned = np.linalg.eigh(before / np.outer(size, size))
    if own[0] < APART:
        return inf
    root = turned / np.sqrt(own) / size[:, None]
    left = np.linalg.eigvalsh(root.T @ after @ root)
    return float(np.exp(-np.log(left).mean())) if left[0] >= APART else inf


def _swept(information: Array, block: list[int], others: list[int]) -> Array:
    """Information on the block when the other columns are estimated beside it."""
    cross = information[np.ix_(block, others)]
    inverse = np.linalg.pinv(information[np.ix_(others, others)], rcond=1e-12, hermitian=True)
    return np.asarray(information[np.ix_(block, block)] - cross @ inverse @ cross.T)


def _blocks(look: Reader, recipe: Recipe) -> dict[str, list[int]]:
    """Positions of the columns of each block that a question asks about."""
    named: dict[str, list[int]] = {}
    for position, column in enumerate(look.design.names):
        parts = set(column.replace("[", ":").split(":"))
        for name in recipe.terms:
            term = TERMS[name]
            wanted = set(variables(term.formula.format(time=look.built.form.formula)))
            if term.block in ("time", "protocol", "dose", "effort") and _is_of(parts, column, wanted, term.block):
                named.setdefault(term.block, []).append(position)
    return named


def _is_of(parts: set[str], column: str, wanted: set[str], block: str) -> bool:
    if block == "protocol":
        return column.startswith("protocol") and ":" in column
    return ":" not in column and bool(parts & wanted)


def _answer(question: str, found: float, widest: float, vif: float, retested: int, settings: Settings) -> Answer:
    if vif > settings.widest_block_vif:
        return Answer(question, "cannot", "the design cannot tell this apart from the other terms")
    if found <= settings.answer_share * widest:
        return Answer(question, "can answer", "the smallest detectable difference is well within what would matter")
    more = None if not np.isfinite(found) else int(np.ceil(retested * ((found / widest) ** 2 - 1)))
    if found <= widest:
        aim = int(np.ceil(retested * ((found / (settings.answer_share * widest)) ** 2 - 1)))
        why = "the smallest detectable difference is near what would matter"
        return Answer(question, "can answer roughly", why, aim)
    return Answer(question, "cannot", "the smallest detectable difference is larger than what would matter", more)


def _detectable(look: Reader, design: Planned, pairs: Pairs) -> dict[str, float]:
    """Smallest detectable differences by name, in cmH2O."""
    found = {"gain": design.detectable(look.gain(12.0))}
    for a, b in pairs:
        found[f"{a} - {b}"] = design.detectable(look.difference(a, b, 12.0))
    for name, term in PER_12_WEEKS.items():
        if term in look.design.names:
            found[name] = TEN_POINTS * design.detectable(look.term(term))
    return found


def _measure(
    rows: pl.DataFrame, recipe: Recipe, pressure: str, settings: Settings, pairs: Pairs
) -> Measured:
    """Detectable differences and block VIFs of one recipe on the rows that it can use."""
    usable = rows.drop_nulls(recipe.needs())
    if usable["client_key"].n_unique() < FEWEST:
        return {}, {}
    built = build(varying_terms(recipe, usable), settings)
    look = reader(usable, centred(usable, built), built)
    return measured(look, assumed(usable, look.design.values, pressure, settings), recipe, pairs)


def measured(look: Reader, design: Planned, recipe: Recipe, pairs: Pairs) -> Measured:
    """Detectable differences in cmH2O and block VIFs, by name, of a design that `look` reads."""
    known = set(look.protocols)
    told = {"protocol_time", "protocol_slope"} & set(recipe.terms)
    found = _detectable(look, design, [p for p in pairs if told and set(p) <= known])
    blocks = _blocks(look, look.built.recipe)
    curve = blocks.get("time", [])
    return found, {
        name: block_vif(design.information, where, [0] if name == "time" else [0, *curve])
        for name, where in blocks.items()
    }


def _answers(
    found: dict[str, float], vif: dict[str, float], recipe: Recipe, retested: int, pairs: int, settings: Settings
) -> dict[str, Answer]:
    widest, per_10 = settings.widest_protocol_difference_cmh2o, settings.widest_per_10_points_cmh2o
    differences = [v for k, v in found.items() if " - " in k]
    if recipe.name == "R4":
        answers = {"gain": Answer("gain", "cannot", "too few people for a mean curve: see the raw changes")}
    else:
        answers = {"gain": _answer("gain", found.get("gain", inf), widest, 1.0, retested, settings)}
    if pairs == 0:
        answers["protocol"] = Answer("protocol", "cannot", "there is one protocol only")
    elif not {"protocol_time", "protocol_slope"} & set(recipe.terms):
        answers["protocol"] = Answer("protocol", "cannot", "too few people for a contrast of protocols on this rung")
    else:
        worst = max(differences, default=inf)
        answers["protocol"] = _answer("protocol", worst, widest, vif.get("protocol", 1.0), retested, settings)
    for name in ("dose", "effort"):
        if name in recipe.terms:
            answers[name] = _answer(name, found.get(name, inf), per_10, vif.get(name, 1.0), retested, settings)
        else:
            answers[name] = Answer(name, "cannot", "too few people with this recorded, on this rung of the ladder")
    return answers


def gate(rows: pl.DataFrame, pressure: str, settings: Settings) -> Gate:
    """What the prepared rows of one pressure can answer. Reads every column but the outcome."""
    rated = rows.drop_nulls(["effort_e"]).height
    return gate_of(who_of(rows), rated, pressure, settings,
                   lambda recipe, pairs: _measure(rows, recipe, pressure, settings, pairs))


def gate_of(
    who: Who, rated: int, pressure: str, settings: Settings, measure: Callable[[Recipe, Pairs], Measured]
) -> Gate:
    """The same from counts. rated: tests with effort known; measure: see `measured`."""
    step, reason = rung(who, settings)
    needs_slope, alone = site_overlap(who, settings)
    recipe = MODELS[step].having("site_slope") if needs_slope and step in ("R1", "R2") else MODELS[step]
    if 2 * rated < who.tests:
        recipe = recipe.without("effort")
    past = past_12_weeks(who)
    pairs = list(combinations(sorted(past), 2))
    parts, _ = measure(recipe.without("dose").having("between", "within"), [])
    found, vif = measure(recipe, pairs)
    found |= {k: v for k, v in parts.items() if k in ("between", "within")}
    retested = who.having(tests=2)
    return Gate(
        pressure, step, reason, who.people, who.having(tests=3), who.having(tests=4), retested, past, recipe, found,
        vif, _answers(found, vif, recipe, retested, len(pairs), settings), needs_slope, alone,
    )  # fmt: skip
