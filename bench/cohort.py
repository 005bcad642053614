"""The simulated cohort of the bench and of the studies: one row per client and test day, written by a seed.

Each client has 5 to 8 of 8 scheduled tests (weeks 0 to 24, a week early or late), an own level (SD 12 cmH2O) and slope
(SD 6 per 12 weeks, correlation 0.2), residual SD 6; sites differ by SD 4; three protocols.
"""

from __future__ import annotations

import numpy as np
import polars as pl

SCHEDULE_WEEKS = np.array([0, 2, 4, 8, 12, 16, 20, 24])
PROTOCOLS = np.array(["endurance", "interval", "strength"])
MEAN = "1 + time12 * (protocol + adherence) + adherence_within + effort + baseline + age_decades + site"
MEAN_THREE_LEVELS = "1 + time12 * protocol"


def cohort(clients: int, seed: int, *, sites: int = 6, slope_sd: float = 6.0, site_sd: float = 4.0) -> pl.DataFrame:
    """Rows client_key, site, protocol, weeks, time12 (12-week units), covariates, mip_cmh2o; sorted by client."""
    rng = np.random.default_rng(seed)
    per_client = rng.integers(5, 9, clients)
    keep = np.argsort(rng.random((clients, 8)), axis=1) < per_client[:, None]
    who, visit = np.nonzero(keep)
    weeks = np.maximum(SCHEDULE_WEEKS[visit] + rng.integers(-1, 2, len(who)), 0)
    site, protocol = rng.integers(0, sites, clients), rng.permutation(clients) % 3
    adherence, baseline, decades = rng.beta(6, 3, clients), rng.normal(0, 10, clients), rng.normal(0, 1.2, clients)
    lines = rng.multivariate_normal([0, 0], [[144, 2.4 * slope_sd], [2.4 * slope_sd, slope_sd**2]], clients)
    within, effort = rng.normal(0, 0.1, len(who)), rng.uniform(0, 1, len(who))
    time12 = weeks / 12.0
    slope = 8.0 + 2.0 * (protocol == 2) + 5.0 * (adherence - 0.66)
    mip = 70.0 + rng.normal(0, site_sd, sites)[site][who] + 0.5 * baseline[who] - 3.0 * decades[who] + lines[who, 0]
    mip += (slope[who] + lines[who, 1]) * time12 + 4.0 * within + 2.0 * effort + rng.normal(0, 6, len(who))
    return pl.DataFrame(
        {
            "client_key": who,
            "site": np.char.add("s", site[who].astype(str)),
            "protocol": PROTOCOLS[protocol[who]],
            "weeks": weeks,
            "time12": time12,
            "adherence": adherence[who],
            "adherence_within": within,
            "effort": effort,
            "baseline": baseline[who],
            "age_decades": decades[who],
            "mip_cmh2o": mip,
        }
    ).sort("client_key", "weeks", maintain_order=True)
