"""The 11 one-way sets of the NIST StRD (certified to 15 digits; files inside the SciPy wheel) as mixed models.

In a balanced one-way layout of k groups of r with MSB > MSW, REML is closed: sigma^2 = MSW, tau^2 = (MSB - MSW) / r,
SE(mean) = sqrt(MSB / (k r)), df = k - 1 (Searle, Casella and McCulloch 1992, Variance Components, chapter 3).
Digits asked of each set: its numbers carry 1, 7 or 13 constant leading digits, which cost that many in any double.
"""

import re
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import scipy

from pipeline.stats import MixedModel, Varies, fit_mixed

FOLDER = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"
MODEL = MixedModel(outcome="y", mean="1", varies=(Varies(by="treatment", terms="1"),))
DIGITS = {"SiRstv": 9, "AtmWtAg": 8, "SmLs01": 10, "SmLs02": 10, "SmLs03": 10, "SmLs04": 8, "SmLs05": 8, "SmLs06": 8}
DIGITS |= {"SmLs07": 3, "SmLs08": 3, "SmLs09": 3}


def read(name):
    """Certified mean squares between and within, and the rows, of one NIST file."""
    path = FOLDER / f"{name}.dat"
    if not path.exists():
        pytest.skip("this SciPy ships no NIST files")
    lines = path.read_text(encoding="ascii").splitlines()
    between = next(float(line.split()[-2]) for line in lines if line.startswith("Between"))
    within = next(float(line.split()[-1]) for line in lines if line.startswith("Within"))
    start = next(k for k, line in enumerate(lines) if re.match(r"Data:\s+(Treatment|Instrument)", line))
    rows = [(int(a), float(b)) for a, b in (line.split() for line in lines[start + 1 :] if line.strip())]
    return between, within, pl.DataFrame(rows, ["treatment", "y"], orient="row")


def digits(ours, certified):
    return 15.0 if ours == certified else -np.log10(abs(ours - certified) / abs(certified))


@pytest.mark.parametrize("name", sorted(DIGITS))
def test_certified_components(name):
    between, within, frame = read(name)
    groups = frame["treatment"].n_unique()
    per_group = frame.height / groups
    fit = fit_mixed(frame, MODEL)
    row = fit.mean_terms.row(0, named=True)
    assert digits(fit.residual_sd**2, within) > DIGITS[name]
    assert digits(fit.covariance("treatment")[1].item(), (between - within) / per_group) > DIGITS[name] - 1
    assert digits(row["std_error"], np.sqrt(between / frame.height)) > DIGITS[name] - 1
    assert row["df"] == pytest.approx(groups - 1, rel=1e-6)
