"""Small cohorts with a seed, for tests of the mixed-model engine."""

import numpy as np
import polars as pl

from pipeline.stats import MixedModel, Varies

CLIENT_SLOPE = MixedModel("y", "1 + time12 * protocol", (Varies("client_key", "1 + time12"),))


def cohort(clients=30, seed=1, slope_sd=6.0, level_sd=12.0, site_sd=4.0, sites=5, whole_weeks=False):
    """One row per test: pressure-like outcome y in cmH2O, time in 12-week units, 2 to 8 tests a client."""
    draw = np.random.default_rng(seed)
    tests = draw.integers(2, 9, clients)
    client = np.repeat(np.arange(clients), tests)
    week = np.concatenate([np.sort(draw.choice(8, k, replace=False)) * 4 for k in tests]).astype(float)
    week += 0.0 if whole_weeks else draw.uniform(-1, 1, len(week))
    time12 = week / 12.0
    site, protocol = draw.integers(0, sites, clients), np.arange(clients) % 3
    level, slope = draw.normal(0, level_sd, clients), draw.normal(0, slope_sd, clients)
    adherence = draw.random(len(week))
    y = 60 + 8 * time12 + 5 * adherence + (protocol[client] == 1) * 3 * time12 + level[client] + slope[client] * time12
    y += draw.normal(0, site_sd, sites)[site[client]] + draw.normal(0, 6, len(week))
    return pl.DataFrame(
        {
            "client_key": [f"c{i:04d}" for i in client],
            "site": np.array(list("abcdefgh"))[site[client]],
            "protocol": np.array(list("abc"))[protocol[client]],
            "time12": time12,
            "adherence": adherence,
            "y": y,
        }
    )
