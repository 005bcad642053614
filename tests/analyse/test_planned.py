"""Plans as analyse reads them: since when each word stands, whom the plan takes, and contrasts read as planned."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.analyse.fits import fit_pressure
from pipeline.analyse.planned import planned, read, standing
from pipeline.analyse.plans import history, limits_to_consent, plan_in_force, since, taken
from pipeline.contract.plan import PlannedContrast
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.simulate.model_frame import simulate_model_frame
from tests.conftest import SAMPLE

PLAN = (SAMPLE / "plan.toml").read_text(encoding="utf-8")
WITHOUT_DOSE = PLAN.replace('[[family]]\nof = "dose"\npressure = "mip"\n', "")
PAIR = PlannedContrast("difference", "mip", 12, ("firm_5x6", "steady_30"))
DOSE = PlannedContrast("dose", "mip")


def plans(*rows: tuple[str, int]) -> dict[str, pl.DataFrame]:
    """Frames that hold registrations: (text, tests loaded by then)."""
    told = [{"plan_no": k, "registered_at": f"2026-0{k}-01T00:00:00", "after_batch": k - 1, "tests_loaded": tests,
             "sha256": str(k), "changed": "", "plan_text": text} for k, (text, tests) in enumerate(rows, start=1)]
    return {"plans": pl.DataFrame(told)}


def test_no_plan_is_no_plan():
    assert history({}) == [] and plan_in_force({}) is None and not limits_to_consent({})
    assert taken({}) == {}


def test_a_word_counts_from_the_registration_since_which_every_plan_holds_it():
    known = history(plans((PLAN, 0), (WITHOUT_DOSE, 400), (PLAN, 900)))
    assert since(known, lambda p: any(c.same_as(DOSE) for c in p.family)).number == 3
    assert since(known, lambda p: any(c.same_as(PAIR) for c in p.family)).number == 1
    assert since(known[:2], lambda p: any(c.same_as(DOSE) for c in p.family)) is None
    assert standing(PAIR, known) == "primary, planned before any test was loaded"
    assert standing(DOSE, known) == "planned when tests had been loaded"
    assert standing(DOSE, known[:2]) == "not planned"
    turned = PlannedContrast("difference", "mip", 12, ("steady_30", "firm_5x6"))
    assert standing(turned, known) == standing(PAIR, known)
    assert standing(PlannedContrast("difference", "mip", 24, PAIR.protocols), known) == "not planned"


def test_a_plan_that_this_version_cannot_read_is_said():
    frames = plans(("question = 1\n", 0))
    assert plan_in_force(frames) is None
    (state,) = [r for r in planned(frames, {}, ResultSet(())).rows if r.statistic == "state"]
    assert "another version" in state.text


def test_only_those_who_agreed_are_taken():
    courses = pl.DataFrame({"client_key": ["a", "b", "c", "d"], "research_consent": ["yes", "no", "unknown", None]})
    frames = plans((PLAN, 0)) | {"courses": courses, "model": pl.DataFrame({"client_key": list("abcda")}),
                                 "files": pl.DataFrame({"file": ["x"]})}  # fmt: skip
    left = taken(frames)
    assert left["courses"]["client_key"].to_list() == ["a"] and left["model"].height == 2
    assert left["files"].height == 1 and left["plans"].height == 1
    open_to_all = plans((PLAN.replace("consented_only = true", "consented_only = false"), 0))
    assert taken(frames | open_to_all)["courses"].height == 4


@pytest.fixture(scope="module")
def models():
    return {p: fit_pressure(simulate_model_frame(240, 5, pressure=p), p, Settings()) for p in ("mip", "mep")}


def test_contrasts_are_read_first_less_second(models):
    turned = PlannedContrast("difference", "mip", 12, PAIR.protocols[::-1])
    found, other = read(PAIR, models).found, read(turned, models).found
    assert found.estimate == pytest.approx(-other.estimate) and found.p == pytest.approx(other.p)
    primary = models["mip"].working("primary")
    assert found.estimate == pytest.approx(primary.read(primary.look.difference(*PAIR.protocols, 12.0)).estimate)
    assert read(DOSE, models).found.estimate == pytest.approx(primary.term("dose_d", 0.1).estimate)
    gain = read(PlannedContrast("gain", "mip", 12), models).found
    assert gain.estimate == pytest.approx(primary.read(primary.look.gain(12.0)).estimate)


@pytest.mark.parametrize(("contrast", "why"), [
    (PlannedContrast("difference", "mip", 12, ("firm_5x6", "none_such")), "cannot be compared"),
    (PlannedContrast("difference", "snip", 12, PAIR.protocols), "no model of this pressure"),
])  # fmt: skip
def test_what_cannot_be_read_says_why(models, contrast, why):
    found = read(contrast, models)
    assert found.found is None and why in found.why


def test_a_closed_gate_closes_the_planned_contrast_too():
    few = fit_pressure(simulate_model_frame(40, 5), "mip", Settings())
    assert "this cohort cannot answer it" in read(PAIR, {"mip": few}).why


def test_the_sample_is_told_as_its_plan_says(sample_review):
    """Whole review: consent by the clients' own table, contrasts by Holm within the plan, estimand in its words."""
    import json
    out, _ = sample_review
    rows = {r["key"]: r for r in json.loads((out / "internal" / "results.json").read_text(encoding="utf-8"))["results"]}
    where = "protocols.plan."
    counts = {c: rows[f"{where}people[consent={c}]"]["n"] for c in ("yes", "no", "unknown", "not recorded")}
    assert rows[f"{where}people[all]"]["n"] == sum(counts.values()) > counts["yes"] > 300
    by_protocol = [r["n"] for k, r in rows.items()
                   if k.startswith("protocols.compared.stay[pressure=mip;") and "step=course" in k]
    left_out = [r["n"] for k, r in rows.items()
                if k.startswith(f"{where}left_out[pressure=mip;") and "step=course" in k]
    assert sum(by_protocol) == counts["yes"] and sum(by_protocol) + sum(left_out) == rows[f"{where}people[all]"]["n"]
    planned_rows = [r for k, r in rows.items() if k.startswith(f"{where}contrast_cmh2o")]
    assert len(planned_rows) == 4 and planned_rows[0]["note"] == "primary, planned before any test was loaded"
    same = rows["protocols.difference.difference_cmh2o[pressure=mip;protocols=firm_5x6 - steady_30]@12"]
    assert planned_rows[0]["value"] == pytest.approx(same["value"])
    raw = sorted((rows[r["key"].replace("contrast_cmh2o", "p_value")]["value"], r["key"]) for r in planned_rows)
    smallest = rows[raw[0][1].replace("contrast_cmh2o", "p_holm")]["value"]
    assert smallest == pytest.approx(min(1.0, 4 * raw[0][0]))
    assert "agreed to research use" in rows["protocols.estimand.attribute[attribute=population]@1"]["text"]
    made = [r for k, r in rows.items() if k.startswith(f"{where}sensitivity") and r["text"].startswith("planned")]
    assert made and all(r["note"] == "made" for r in made)


def test_what_an_unmeasured_cause_must_account_for_follows_from_t(sample_review):
    import json

    from pipeline.stats.unmeasured import robustness
    out, _ = sample_review
    rows = {r["key"]: r for r in json.loads((out / "internal" / "results.json").read_text(encoding="utf-8"))["results"]}
    end = "[pressure=mip;protocols=firm_5x6 - steady_30]@12"
    from scipy.stats import t as student_t
    df, p = (rows[f"protocols.difference.{s}{end}"]["value"] for s in ("df", "p_value"))
    expected = robustness(float(student_t.isf(p / 2, df)), df)
    assert rows[f"protocols.difference.robustness_value_pct{end}"]["value"] == pytest.approx(100 * expected.to_nothing)
    assert "protocols.dose_response.robustness_value_pct[pressure=mip]" in rows
    band = rows["protocols.difference.smallest_worthwhile_cmh2o[pressure=mip]"]
    assert (band["value"], band["text"]) == (13.5, "mip_worthwhile_cmh2o") and "Clin Rehabil" in band["method"]
