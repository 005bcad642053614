"""Analyses asked for after the data were seen: beside the rest, marked, and hidden where they set a handful apart."""

import polars as pl
import pytest

from pipeline.analyse.choice import GAIN, Target
from pipeline.analyse.choices import ground_of
from pipeline.analyse.post_hoc import COURSES, MODEL, apart_of_each, asked_of, check, choosable, chosen, readings
from pipeline.analyse.where import BadCondition
from pipeline.identity.small_cells import protect
from pipeline.results import Result, ResultSet
from pipeline.settings import Settings


def asked(*pairs):
    return pl.DataFrame({"asked_no": list(range(1, len(pairs) + 1)), "label": [a for a, _ in pairs],
                         "condition": [b for _, b in pairs], "asked_on": ["2026-10-01"] * len(pairs)})  # fmt: skip


def read(frames, models, *pairs):
    ground = ground_of(models["mip"], {**frames, "asked": asked(*pairs)}, Settings())
    return ground, {r.name: r for r in readings(ground, asked_of(ground.frames))}


def test_the_columns_that_may_be_named_are_there_and_hold_no_key_day_or_outcome(frames):
    known = choosable(frames)
    assert set(known) == set(COURSES) | set(MODEL)
    assert not {"client_key", "value_cmh2o", "tested_on", "from_on", "file", "line", "dose_d"} & set(known)


def test_a_part_is_the_primary_model_on_its_rows(frames, models):
    ground, found = read(frames, models, ("Over sixty", "age_years > 60"))
    one = found["Over sixty"]
    assert one.said == "post hoc" and one.kind == "post hoc"
    assert one.note == "post hoc, asked on 2026-10-01: age_years > 60"
    people = frames["courses"].filter(pl.col("is_primary") & (pl.col("age_years") > 60))
    used = ground.rows.join(people, on="client_key", how="semi")
    assert one.tests == used.drop_nulls(ground.recipe.needs()).height
    assert one.found[Target(GAIN)].estimate != ground.primary[Target(GAIN)].estimate


def test_everybody_is_the_primary_answer(frames, models):
    ground, found = read(frames, models, ("All", "age_years > 0"))
    again, main = found["All"].found[Target(GAIN)], ground.primary[Target(GAIN)]
    assert (again.estimate, again.low) == pytest.approx((main.estimate, main.low), rel=1e-9)


def test_tests_can_be_chosen_too(frames):
    some = chosen(frames, "week <= 26 and metric = plateau_1s")
    seen = frames["model"].filter((pl.col("week") <= 26) & (pl.col("metric") == "plateau_1s"))
    assert some.height == seen.height


def test_nobody_is_said(frames, models):
    _, found = read(frames, models, ("Nobody", "age_years > 200"))
    assert found["Nobody"].trouble == "nobody satisfies the condition"


def test_a_handful_is_hidden_in_the_shared_edition(frames, models):
    ages = models["mip"].rows.unique("client_key")["age_years"].drop_nulls().sort(descending=True).to_list()
    limit = next(age for k, age in enumerate(ages) if 1 <= k <= 10 and age < ages[0])
    _, found = read(frames, models, ("Oldest", f"age_years > {limit}"), ("Others", f"age_years <= {limit}"))
    assert all(1 <= found[name].apart <= 10 for name in found)
    rows = tuple(Result("protocols", "choices", "gain_cmh2o", name, n=r.tests, n_of="tests", n_people=r.apart,
                        value=1.0) for name, r in found.items())  # fmt: skip
    assert all(r.value is None and r.text.startswith("hidden") for r in protect(ResultSet(rows)).rows)


def test_of_two_parts_that_differ_by_a_handful_the_later_is_hidden():
    everybody = {f"p{k}" for k in range(100)}
    big = {f"p{k}" for k in range(60)}
    near, few, other = big - {"p1", "p2"}, {"p1", "p99"}, {f"p{k}" for k in range(40, 100)}
    assert apart_of_each([big, near], everybody) == [60, 2]
    assert apart_of_each([few, big, other], everybody) == [2, 60, 60]  # what is hidden itself gives nothing away
    assert apart_of_each([everybody - {"p1"}, everybody], everybody) == [1, 100]


@pytest.mark.parametrize("label", ["", "9 lives", "a;b", "x=y", "a[b]", "é", "a" * 61, "see Mary Smith"])
def test_labels_that_cannot_stand_in_a_table(frames, label):
    with pytest.raises(BadCondition, match="label cannot stand"):
        check(label, "age_years > 60", frames)


def test_a_good_label_and_condition_pass(frames):
    check("Women over 60, north", "sex = female and age_years > 60", frames)
    with pytest.raises(BadCondition, match="no column"):
        check("Outcome", "value_cmh2o > 60", frames)
