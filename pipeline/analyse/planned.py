"""What was planned and when, beside what was done: registrations, contrasts, covariates, other analyses, consent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.analyse.association import TEN_POINTS
from pipeline.analyse.common import PRESSURES, Array, Frames, Section, group
from pipeline.analyse.effects import put, reads_24_weeks
from pipeline.analyse.fits import Fitted, Models, PressureModels
from pipeline.analyse.models import TERMS
from pipeline.analyse.people import brief_steps, eligible
from pipeline.analyse.plans import CONSENTED, Registered, history, limits_to_consent, since
from pipeline.contract.plan import COVARIATES, Plan, PlannedContrast
from pipeline.results import Result, ResultSet
from pipeline.stats import Contrast, holm

NO_PLAN = "No plan was written down: every contrast on this page is exploratory."
UNREADABLE = "The plan in the store was registered by another version of this program, and cannot be read by this one."
OTHER = "not planned"


@dataclass(frozen=True)
class Read:
    """A planned contrast as it was read: its fit and weights, or the words why it cannot be."""

    contrast: PlannedContrast
    fit: Fitted | None = None
    weights: Array | None = None
    why: str = ""

    @property
    def found(self) -> Contrast | None:
        """The estimate, where there is one."""
        return None if self.fit is None or self.weights is None else self.fit.read(self.weights)


def _cannot(found: PressureModels | None, question: str) -> str:
    """Why a question is closed; empty where it is open."""
    if found is None or found.gate is None or found.working("primary") is None:
        return "no model of this pressure could be fitted"
    answer = found.gate.answers[question]
    return "" if answer.is_open else f"this cohort cannot answer it: {answer.why}"


def read(contrast: PlannedContrast, models: Models) -> Read:
    """Read a planned contrast as the page reads any other: behind the gate, by the handling of the baseline."""
    found = models.get(contrast.pressure)
    question = {"difference": "protocol"}.get(contrast.of, contrast.of)
    if why := _cannot(found, question):
        return Read(contrast, why=why)
    assert found is not None
    primary = found.working("primary")
    assert primary is not None and primary.look is not None
    week = float(contrast.week)
    if week > 12.0 and not reads_24_weeks(primary):
        return Read(contrast, why="too few people were tested late enough")
    if contrast.of == "gain":
        return Read(contrast, primary, primary.look.gain(week))
    if contrast.of == "dose":
        return Read(contrast, primary, TEN_POINTS * primary.look.term("dose_d"))
    if frozenset(contrast.protocols) not in {frozenset(p) for p in found.pairs} or found.contrast_fit is None:
        return Read(contrast, why="these two protocols cannot be compared: one is not in these data, has too few "
                                  "people or stands at one site only")  # fmt: skip
    first, second = contrast.protocols
    return Read(contrast, found.contrast_fit, found.difference(first, second, week))


def standing(contrast: PlannedContrast, known: list[Registered]) -> str:
    """ "primary, planned before any test was loaded", "not planned": for a row of any table."""
    one = since(known, lambda plan: any(contrast.same_as(c) for c in plan.family))
    if one is None:
        return OTHER
    is_primary = known[-1].plan is not None and contrast.same_as(known[-1].plan.primary)
    return f"{'primary, ' if is_primary else ''}planned {one.when}"


def _registrations(section: Section, known: list[Registered]) -> None:
    for one in known:
        where = group(plan=str(one.number))
        section.add("registered", where, at=float(one.number), n=one.tests, n_of="test days loaded", text=one.on,
                    note=one.changed)
        section.add("sha256", where, at=float(one.number), text=one.sha256)


def _items(section: Section, plan: Plan) -> None:
    for name in ("question", "eligibility", "ethics", "funding"):
        section.add("item", group(item=name), text=getattr(plan, name))


def _contrasts(section: Section, plan: Plan, known: list[Registered], models: Models) -> None:
    reads = sorted((read(c, models) for c in plan.family), key=lambda r: not r.contrast.same_as(plan.primary))
    whole = [r.found for r in reads]
    p = [c.p for c in whole if c is not None]
    adjusted = iter([float(a) for a in holm(np.array(p))] if p else [])
    section.add("family_size", value=float(len(p)), unit="contrasts", text="Holm over those that could be read")
    for one, found in zip(reads, whole, strict=True):
        pair = {"protocols": one.contrast.name} if one.contrast.protocols else {}
        where = group(pressure=one.contrast.pressure, of=one.contrast.of, **pair)
        at = float(one.contrast.week)
        put(section, "contrast_cmh2o", where, found, at=at, text=one.why or ("" if found else "no value"),
            note=standing(one.contrast, known))
        if found is not None:
            section.add("p_value", where, at=at, value=found.p, unit="p", method="t with Kenward-Roger df")
            section.add("p_holm", where, at=at, value=next(adjusted), unit="p", method="Holm")


def _since(known: list[Registered], word: str, name: str) -> str:
    """Since when a list of the plan ("covariates", "sensitivity") holds a name, in words."""
    one = since(known, lambda plan: name in getattr(plan, word))
    return f"planned {one.when}" if one else OTHER


def _covariates(section: Section, known: list[Registered], models: Models) -> None:
    """Each covariate: since when it is planned, and in the model of which pressures it stands."""
    for name in COVARIATES:
        used = [p for p in PRESSURES if p in models and _stands(models[p], name)]
        section.add("covariate", group(covariate=name), text=_since(known, "covariates", name), note=" ".join(used),
                    method=TERMS[name].meaning)


def _stands(found: PressureModels, name: str) -> bool:
    primary = found.primary
    if primary is None or primary.fit is None:
        return False
    return name in primary.built.recipe.terms or (name == "site" and len(primary.built.model.varies) > 1)


def _analyses(section: Section, plan: Plan, known: list[Registered], made: ResultSet) -> None:
    """Planned other analyses, made or not; then those made that nobody planned."""
    done = dict.fromkeys(_choice(r) for r in made.rows if _choice(r))
    for name in dict.fromkeys([*plan.sensitivity, *done]):
        section.add("sensitivity", group(choice=name), text=_since(known, "sensitivity", name),
                    note="made" if name in done else "not made: no such row in this program")


def _choice(row: Result) -> str:
    """The name of the analysis that a row of the choices belongs to; empty for the primary and for other rows."""
    parts = dict(p.partition("=")[::2] for p in row.group.split(";"))
    return "" if parts.get("choice") in (None, "primary") else parts["choice"]


def _consent(section: Section, frames: Frames) -> None:
    """How many people the limit to consent leaves out, and at which step of the flow of everybody."""
    people = frames["courses"].filter(pl.col("is_primary")).sort("client_key")
    consent = people["research_consent"].cast(pl.String).fill_null("not recorded")
    total = section.add("people", n=people.height, text="with a first course of training")
    counts = {name: int((consent == name).sum()) for name in ("yes", "no", "unknown", "not recorded")}
    rows = [section.add("people", group(consent=name), n=n) for name, n in counts.items()]
    section.sum_of(total, rows)
    others = frames["courses"].filter((pl.col("research_consent") != CONSENTED).fill_null(True))
    without = {**frames, "courses": others}
    for pressure in PRESSURES:
        for protocol in sorted(people["protocol"].unique().to_list()):
            for step, at, n in brief_steps(eligible(without, pressure, protocol)):
                section.add("left_out", group(pressure=pressure, protocol=protocol, step=step), at=at, n=n)


def planned(frames: Frames, models: Models, made: ResultSet) -> ResultSet:
    """Section "plan". frames: of everybody; models: those of the protocols page; made: its rows on other choices."""
    section, known = Section("protocols", "plan"), history(frames)
    if not known:
        section.state(NO_PLAN)
        return section.done()
    _registrations(section, known)
    plan = known[-1].plan
    if plan is None:
        section.state(UNREADABLE)
        return section.done()
    _items(section, plan)
    if limits_to_consent(frames):
        _consent(section, frames)
    _contrasts(section, plan, known, models)
    _covariates(section, known, models)
    _analyses(section, plan, known, made)
    return section.done()
