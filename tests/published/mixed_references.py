"""The reference fits of mixed/*.toml and this project's fits of the same models, each made once."""

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.stats import MixedFit, MixedModel, Varies, fit_mixed
from tests.published.mixed_frames import frame_of

FOLDER = Path(__file__).parent / "mixed"
NAMES = tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


@cache
def reference(name: str) -> dict[str, Any]:
    """What R printed for one fit; the R command stands in the file above each block."""
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))


@cache
def extras(kind: str) -> list[dict[str, Any]]:
    """The blocks of mixed/extras/<kind>.toml."""
    return tomllib.loads((FOLDER / "extras" / f"{kind}.toml").read_text(encoding="utf-8"))[kind]


IS_SINGULAR = {name: bool(reference(name)["is_singular"]) for name in NAMES}
INTERIOR = tuple(name for name in NAMES if not IS_SINGULAR[name])
BOUNDARY = tuple(name for name in NAMES if IS_SINGULAR[name])


def model_of(name: str) -> MixedModel:
    """The same model in this project's words."""
    ref = reference(name)
    varies = tuple(Varies(by=v[0], terms=v[1], correlated="diagonal" not in v[2:]) for v in ref["varies"])
    return MixedModel(outcome=ref["outcome"], mean=ref["mean"], varies=varies)


@cache
def our_fit(name: str, method: str = "reml", df: str = "kenward-roger") -> MixedFit:
    """This project's fit; skips when the data are not at hand."""
    return fit_mixed(frame_of(name, reference(name)["source"]), model_of(name), method=method, df=df)


def column(fit: MixedFit, name: str) -> np.ndarray:
    """One column of the mean terms, in R's order (formulaic and R order terms alike)."""
    return fit.mean_terms[name].to_numpy()


def covariances(name: str) -> dict[str, np.ndarray]:
    """R's covariance matrix of each grouping; uncorrelated terms come from R in several blocks."""
    found = {}
    for varies in reference(name)["varies"]:
        blocks = [b for group, b in reference(name)["covariance"].items() if group.split(".")[0] == varies[0]]
        if len(blocks) > 1:  # uncorrelated: one block a term, the intercept not always first
            variances = {b["names"][0].replace("(Intercept)", "1"): b["matrix"][0] for b in blocks}
            found[varies[0]] = np.diag([variances[term] for term in varies[1].split(" + ")])
        else:
            found[varies[0]] = np.reshape(blocks[0]["matrix"], (len(blocks[0]["names"]),) * 2)
    return found
