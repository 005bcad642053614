"""One timing of one Python engine in a process of its own: `python -m bench.engines ENGINE CASE ROWS REPEATS`.

Prints one line of JSON: wall and CPU seconds of each repeat, log-likelihood, slope and its df. Reading is not timed.
"""

# ruff: noqa: T201 - its standard output is read by bench.mixed
from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from typing import Any

import polars as pl

from bench.cohort import MEAN, MEAN_THREE_LEVELS


def ours(rows: pl.DataFrame, case: str) -> dict[str, Any]:
    """fit_mixed with Kenward-Roger df; three levels, or all leave-one-out refits, when the case says so."""
    from pipeline.stats import MixedModel, Varies, fit_mixed
    from pipeline.stats.refit import leave_one_out

    client = Varies(by="client_key", terms="1 + time12")
    three = MixedModel("mip_cmh2o", MEAN_THREE_LEVELS, (client, Varies(by="site", terms="1")))
    fit = fit_mixed(rows, three if case == "three levels" else MixedModel("mip_cmh2o", MEAN, (client,)))
    slope = fit.mean_terms.row(1, named=True)
    if case == "leave one out":
        leave_one_out(fit)
    return {"log_likelihood": fit.log_likelihood, "slope": slope["estimate"], "slope_df": slope["df"]}


def mixedlm(rows: pl.DataFrame, case: str) -> dict[str, Any]:
    """statsmodels MixedLM as it comes: from_formula and fit() with their defaults, by REML."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    frame = rows.to_pandas()
    model = MixedLM.from_formula(f"mip_cmh2o ~ {MEAN[4:]}", frame, groups="client_key", re_formula="1 + time12")
    fit = model.fit()
    return {"log_likelihood": float(fit.llf), "slope": float(fit.fe_params["time12"]), "slope_df": None}


ENGINES: dict[str, Callable[[pl.DataFrame, str], dict[str, Any]]] = {"ours": ours, "mixedlm": mixedlm}


def main(engine: str, case: str, path: str, repeats: str) -> None:
    """Time `repeats` fits of the rows in a Parquet file."""
    rows, seconds, cpu, found = pl.read_parquet(path), [], [], {}
    for _ in range(int(repeats)):
        start, start_cpu = time.perf_counter(), time.process_time()
        found = ENGINES[engine](rows, case)
        seconds.append(time.perf_counter() - start)
        cpu.append(time.process_time() - start_cpu)
    print(json.dumps({"seconds": seconds, "cpu_seconds": cpu, **found}))


if __name__ == "__main__":
    main(*sys.argv[1:])
