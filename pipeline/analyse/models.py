"""The models as data: TERMS says what each term is, MODELS which terms a cohort of a given size can carry.

Primary model, one per pressure, outcome in cmH2O, time in 12-week units:
    y = f(weeks) * protocol + dose D + effort E + efforts kept + age + sex + condition + site (+ site x time)
        + client intercept and slope + error
D and E look back only (0 at the baseline), so a coefficient is an association with what was done before the test.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import polars as pl

from pipeline.analyse.design import TimeForm, time_form
from pipeline.settings import Settings
from pipeline.stats import MixedModel, Varies


@dataclass(frozen=True)
class Term:
    """One term of the mean. `formula`: Wilkinson notation, {time} stands for the columns of the time form.

    needs: columns that must not be null in a row; block: the question it belongs to.
    """

    name: str
    formula: str
    block: str
    meaning: str
    needs: tuple[str, ...] = ()


_ALL = (
    Term("time", "{time}", "time", "mean curve of weeks since the first session, 0 at the baseline"),
    Term("protocol", "protocol", "level", "difference of protocols at the baseline"),
    Term("protocol_time", "protocol:({time})", "protocol", "difference of protocols in the curve"),
    Term("protocol_slope", "protocol:time_1", "protocol", "difference of protocols along the first time column"),
    Term("dose", "dose_d", "dose", "12-week units of the prescribed dose done before the test", ("dose_d",)),
    Term("effort", "effort_e", "effort", "the same, times the share of rated sessions in the band less its reference",
         ("effort_e",)),
    Term("between", "between_dose", "between", "the client's mean adherence x time", ("between_dose",)),
    Term("within", "within_dose", "within", "dose done so far less that mean's share", ("within_dose",)),
    Term("lead", "lead_dose", "lead", "dose of the NEXT interval less the client's mean", ("lead_dose",)),
    Term("efforts", "efforts_more", "covariate", "efforts kept at the test, above the median"),
    Term("age", "age_10", "covariate", "decades of age from 65 years"),
    Term("sex", "sex", "covariate", "sex as recorded"),
    Term("condition", "condition_group", "covariate", "condition group, rare ones joined"),
    Term("site", "site", "site", "site of the first episode"),
    Term("site_slope", "site:time_1", "site", "difference of sites along the first time column"),
    Term("illness", "illness_weeks", "covariate", "weeks of illness in the interval before the test"),
    Term("health", "caution_c + support_c + (caution_c + support_c + age_c):time_1", "covariate",
         "any caution, any respiratory support and age, each with a slope of its own"),
    Term("eased", "eased_share", "varying", "share of the sessions since the last test below the setting, reason given",
         ("eased_share",)),
    Term("held", "held_weeks", "varying", "weeks held since the last test, illness aside", ("held_weeks",)),
    Term("away", "weeks_away", "varying", "weeks since the last session", ("weeks_away",)),
    Term("wellbeing", "wellbeing_more", "varying", "wellbeing before sessions against the person's first interval",
         ("wellbeing_more",)),
    Term("baseline", "baseline_cmh2o", "covariate", "measured baseline", ("baseline_cmh2o",)),
    Term("baseline_slope", "baseline_cmh2o:time_1", "covariate", "measured baseline x time", ("baseline_cmh2o",)),
)  # fmt: skip
TERMS: dict[str, Term] = {t.name: t for t in _ALL}


@dataclass(frozen=True)
class Recipe:
    """A model before it meets a frame: names of TERMS, the time form by name, the random part of the client."""

    name: str
    terms: tuple[str, ...]
    time: str
    client: str = "1 + time12"
    meaning: str = ""

    def having(self, *terms: str) -> Recipe:
        """The same with terms added at the end, each once."""
        return replace(self, terms=self.terms + tuple(t for t in terms if t not in self.terms))

    def without(self, *terms: str) -> Recipe:
        """The same without some terms."""
        return replace(self, terms=tuple(t for t in self.terms if t not in terms))

    def mean(self, form: TimeForm) -> str:
        """The right-hand side of the mean in Wilkinson notation."""
        return " + ".join(["1", *(TERMS[t].formula.format(time=form.formula) for t in self.terms)])

    def needs(self) -> list[str]:
        """Columns that must not be null."""
        return sorted({column for t in self.terms for column in TERMS[t].needs})


_COVARIATES = ("efforts", "age", "sex", "condition", "site")
MODELS: dict[str, Recipe] = {
    "R1": Recipe("R1", ("time", "protocol", "protocol_time", "dose", "effort", *_COVARIATES), "spline 3",
                 meaning="spline of 3 degrees of freedom, its own curve for each protocol, dose and effort"),
    "R2": Recipe("R2", ("time", "protocol", "protocol_slope", "dose", "effort", *_COVARIATES), "spline 2",
                 meaning="spline with one inner knot, a straight difference between protocols, dose and effort"),
    "R3": Recipe("R3", ("time", "protocol", "dose", *_COVARIATES), "log",
                 meaning="logarithm of time, dose; no effort and no protocol contrast"),
    "R4": Recipe("R4", ("time", "age", "sex"), "linear", client="1",
                 meaning="a straight line and a random intercept: individual courses and medians only"),
}  # fmt: skip


COLUMN_OF = {"protocol": "protocol", "sex": "sex", "condition": "condition_group", "site": "site",
             "efforts": "efforts_more", "age": "age_10"}
"""Terms that say nothing where their column has one value only."""


RATED = {"dose": "dose_d", "effort": "effort_e", "between": "between_dose"}
"""Terms read as departures from the mean rise over time: they say nothing where everybody rises alike."""
ALIKE = 1e-12
"""Share of a column's squares that is rounding."""


def varying_terms(recipe: Recipe, rows: pl.DataFrame) -> Recipe:
    """Leave out the terms whose column has one value only, or rises alike in everybody: they would say nothing."""
    single = {name for name, column in COLUMN_OF.items() if rows[column].n_unique() < 2}
    single |= {name for name, column in RATED.items() if column in rows.columns and rise(rows, column).is_alike}
    return without_single(recipe, single)


@dataclass(frozen=True)
class Rise:
    """How a cumulative column rises, from sums over the rows: of it times time, of time squared, of it squared."""

    with_time: float
    times: float
    squares: float

    @property
    def rate(self) -> float:
        """Mean rise per 12 weeks: the line through 0 closest to the rows."""
        return self.with_time / self.times if self.times > 0 else 0.0

    @property
    def is_alike(self) -> bool:
        """Whether it is time times one rate in everybody."""
        return self.squares - self.rate * self.with_time <= ALIKE * self.squares


def rise(rows: pl.DataFrame, column: str) -> Rise:
    """The rise of a column of these rows; nothing where it is not there."""
    if column not in rows.columns:
        return Rise(0.0, 0.0, 0.0)
    seen = rows.drop_nulls([column, "time12"])
    value, time = seen[column], seen["time12"]
    return Rise(float((value * time).sum()), float((time**2).sum()), float((value**2).sum()))


def without_single(recipe: Recipe, single: Collection[str]) -> Recipe:
    """Leave out these terms of COLUMN_OF and RATED, and those that are made of them."""
    gone = set(single)
    if "protocol" in gone:
        gone |= {"protocol_time", "protocol_slope"}
    if "site" in gone:
        gone.add("site_slope")
    return recipe.without(*sorted(gone))


@dataclass(frozen=True)
class Built:
    """A model ready to fit: its recipe, time form, the engine's model and the columns the rows must have."""

    recipe: Recipe
    form: TimeForm
    model: MixedModel

    @property
    def fixed_recipe(self) -> Recipe:
        """The recipe with the sites in the mean, also where this model draws them at random."""
        sites = next((v for v in self.model.varies if v.by == "site"), None)
        if sites is None:
            return self.recipe
        return self.recipe.having("site", *(("site_slope",) if "time12" in sites.terms else ()))


def build(recipe: Recipe, settings: Settings, *, random_sites: bool = False, outcome: str = "value_cmh2o") -> Built:
    """Turn a recipe into the engine's model; with random sites the site leaves the mean for an outer grouping."""
    form = time_form(recipe.time, settings)
    varies: tuple[Varies, ...] = (Varies("client_key", recipe.client),)
    if random_sites and "site" in recipe.terms:
        varies += (Varies("site", "1 + time12" if "site_slope" in recipe.terms else "1"),)
        recipe = recipe.without("site", "site_slope")
    return Built(recipe, form, MixedModel(outcome, recipe.mean(form), varies))


def formula_in_words(built: Built) -> str:
    """The model as a reader of the page meets it."""
    named = ["f(weeks)" if t == "time" else TERMS[t].formula.format(time="f(weeks)") for t in built.recipe.terms]
    random = " + ".join(f"({v.terms} | {v.by})" for v in built.model.varies)
    return f"{built.model.outcome} ~ 1 + {' + '.join(named)} + {random}; f: {built.form.words}"
