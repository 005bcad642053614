"""The truth of the sample is complete, and the people in the files are the ones it describes."""

from collections import Counter
from dataclasses import fields

import polars as pl
import pytest

from pipeline.simulate import Cohort, OutcomeTruth
from pipeline.simulate.archetypes import KINDS

CAUSES = {"pause_open": 2, "pause_without_event": 3, "death_without_event": 1, "lost_contact": 3,
          "training_after_death": 1, "training_in_pause": 2, "setting_differs": 4, "diary_disagrees": 3,
          "slot_told_twice": 3, "no_prescription": 4, "maybe_two_people": 2, "client_missing": 1, "episode_missing": 1}


@pytest.mark.parametrize("pressure", ["mip", "mep"])
def test_every_parameter_is_written_down(cohort: Cohort, pressure: str) -> None:
    truth = cohort.truth[pressure]
    assert {f.name for f in fields(OutcomeTruth)} <= truth.keys()
    assert truth["protocol_difference_in_gain"].keys() == truth["protocol_gain12"].keys() - {"steady_30"}


def test_the_difference_of_protocols_at_week_12_is_that_of_the_gains(cohort: Cohort) -> None:
    differences = cohort.truth["mip"]["protocol_difference_in_gain"]
    assert {name: weeks["week_12"] for name, weeks in differences.items()} == {"firm_5x6": 4.0, "ladder_6": 1.5}


def test_the_queries_are_planted_as_often_as_meant(cohort: Cohort) -> None:
    assert Counter(q["cause"] for q in cohort.truth["queries"]) == CAUSES
    keys = [q["client_key"] for q in cohort.truth["queries"]]
    assert len(keys) == len(set(keys))


def test_every_kind_is_there_with_its_people(cohort: Cohort) -> None:
    clients = set(cohort.tables["clients"]["client_key"])
    for kind in KINDS:
        keys = cohort.truth["kinds"][kind.name]["client_keys"]
        assert len(keys) == kind.n >= 2
        assert set(keys) <= clients


def test_a_quarter_of_the_ordinary_diaries_never_comes_back(cohort: Cohort) -> None:
    unlogged = cohort.truth["kinds"]["unlogged"]["client_keys"]
    weeks = cohort.tables["weekly_logs"].filter(~pl.col("client_key").is_in(unlogged))
    lost = (weeks["returned"] == "lost").mean()
    assert isinstance(lost, float)
    # binomial: 4 standard errors of a share of 0.25 in about 3,000 weeks are 0.032
    assert abs(lost - 0.25) < 0.032


def test_days_lie_between_the_first_and_last_day_of_the_data(cohort: Cohort) -> None:
    days = cohort.tables["sessions"]["session_on"].str.to_date(strict=False).drop_nulls()
    late = days.filter(days.dt.year() > 1100)
    assert str(late.max()) == cohort.truth["data_until_on"]
    assert str(late.min()) >= cohort.truth["data_from_on"]


def test_one_site_writes_kpa(cohort: Cohort) -> None:
    places = cohort.tables["tests"].join(
        cohort.tables["episodes"].unique("client_key").select("client_key", "site"), on="client_key")
    units = places.filter(pl.col("unit").is_in(["kpa"]))
    assert units.height > 1000
    assert units["instrument"].value_counts(sort=True)["instrument"][0] == "gauge-3"
