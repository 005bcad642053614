"""Textbook tests that are mixed models by another name: Welch's t, the split plot's F, and the studentized range."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.stats import MixedModel, Varies, fit_mixed, tukey_kramer
from tests.published.mixed_references import our_fit
from tests.published.test_mixed_identities import SLEEP, by_person


@pytest.mark.parametrize("df", ["satterthwaite", "kenward-roger"])
def test_welch_is_a_variance_of_its_own_for_the_more_varied_kind(df):
    """R> t.test(extra ~ group, sleep): t = -1.860813, df = 17.776474 (Welch 1947, Biometrika 34:28-35; data Student).

    Every value its own group, and a random term in the second kind alone: its variance is residual plus between.
    """
    frame = by_person(SLEEP).with_row_index("value").with_columns(second=(pl.col("kind") == "2").cast(pl.Float64))
    fit = fit_mixed(frame, MixedModel("y", "1 + kind", (Varies("value", "0 + second"),)), df=df)
    found = fit.contrast({"kind[T.2]": -1.0})
    assert found.t == pytest.approx(-1.860813, abs=1e-6)
    assert found.df == pytest.approx(17.776474, abs=1e-6)
    assert fit.residual_sd == pytest.approx(np.std(SLEEP["1"], ddof=1), rel=1e-8)


# Yates F (1935), J R Stat Soc Suppl 2:181-247, the oats split plot. R> summary(aov(yield ~ Variety * dose +
# Error(Block/Variety), Oats)): Variety 1.485 on 2, 10; dose 37.686 on 3, 45; both 0.303 on 6, 45.
SPLIT_PLOT = {"Variety": (1.485, 2, 10.0), "dose": (37.686, 3, 45.0), "both": (0.303, 6, 45.0)}


def averaged(terms, effect):
    """Rows of weights: each level's difference from the first, averaged over the levels of the other factor."""
    rows = []
    for lead in [t for t in terms if (":" in t) == (effect == "both") and (effect == "both" or t.startswith(effect))]:
        share = {"Variety": 1 / 4, "dose": 1 / 3, "both": 0.0}[effect]
        rows.append([1.0 if t == lead else share if lead in t.split(":") else 0.0 for t in terms])
    return np.array(rows)


@pytest.mark.parametrize("effect", SPLIT_PLOT)
def test_split_plot_of_yates(effect):
    fit = our_fit("oats")
    found = fit.contrast(averaged(fit.terms, effect))
    f, df1, df2 = SPLIT_PLOT[effect]
    assert found.f == pytest.approx(f, abs=5e-4)
    assert (found.df1, found.df2) == (df1, pytest.approx(df2, rel=1e-7))


def studentized_range():
    """72 values to 11 digits by mpmath, in SciPy's wheel."""
    stats = pytest.importorskip("scipy.stats")
    path = Path(stats.__file__).parent / "tests" / "data" / "studentized_range_mpmath_ref.json"
    if not path.exists():
        pytest.skip("this SciPy wheel comes without its test data")
    cases = json.loads(path.read_text(encoding="utf-8"))["cdf_data"]
    return [(*(case["src_case"][name] for name in "qkv"), case["mp_result"]) for case in cases]


def test_tukey_kramer_is_the_studentized_range():
    """q = sqrt(2) |t|, so a pair of t has the p-value 1 - P(Q <= q); the sign of t is no matter."""
    cases = studentized_range()
    assert len(cases) == 72
    for q, means, df, probability in cases:
        for t in (q / np.sqrt(2.0), -q / np.sqrt(2.0)):
            found = tukey_kramer(np.array([t]), np.array([df]), means)
            assert found.item() == pytest.approx(1.0 - probability, abs=1e-10)
