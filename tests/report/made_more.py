"""Invented rows of the sections on function, manometers, earlier reviews and the ledger."""

from __future__ import annotations

from pipeline.results import Result


def quarter() -> list[Result]:
    """Rows of the quarter page."""
    def row(section: str, statistic: str, group: str, **fields: object) -> Result:
        return Result("quarter", section, statistic, group, **fields)  # type: ignore[arg-type]

    walk, gauge = "measure=six_minute_walk_m", "pressure=mip;site=mill;instrument=gauge-2;on=2026-05-04"
    of, mip = "of=quarter.gains.gain_cmh2o[pressure=mip]@12", "pressure=mip"
    return [
        row("function", "people", walk, n=80),
        row("function", "start", walk, at=0.0, n=71, value=372.0, low=355.0, high=389.0, unit="m"),
        row("function", "later", walk, at=12.0, n=71, value=389.0, low=371.0, high=407.0, unit="m"),
        row("function", "change", walk, at=12.0, n=71, value=17.0, low=9.0, high=25.0, unit="m"),
        row("function", "mip_gain_of_them_cmh2o", walk, at=12.0, n=71, value=11.0, low=8.6, high=13.4, unit="cmH2O"),
        row("function", "important_change", f"{walk};population=respiratory", value=25.0, low=24.0, high=26.0,
            unit="m"),
        row("function", "past_important_change", f"{walk};population=respiratory", at=12.0, n=60, hits=24, value=40.0,
            low=28.6, high=52.6, unit="%"),
        row("instruments", "step_cmh2o", gauge, n=14, value=-4.1, low=-7.9, high=-0.3, unit="cmH2O",
            note="replaced; the gain up to then stands"),
        row("instruments", "paired_difference_cmh2o", "pressure=mip;site=mill;instruments=gauge-4 - gauge-2", n=12,
            value=3.5, low=1.2, high=5.8, unit="cmH2O"),
        row("instruments", "last_calibrated", "site=mill;instrument=gauge-2", n=5, n_of="calibrations", n_people=0,
            text="2026-02-11"),
        row("restated", "last_review", "all", text="2026Q1"),
        row("restated", "printed", of, value=10.4, unit="cmH2O"),
        row("restated", "stands_now", of, value=10.9, low=9.6, high=12.2, unit="cmH2O"),
        row("restated", "moved", of, value=0.5, unit="cmH2O", text="data"),
        row("restated", "headlines_moved", "all", n=1, n_of="numbers", n_people=0, value=1.0, unit="numbers"),
        row("restated", "rows_since", "table=tests;how=new", n=240, n_of="rows", n_people=19),
        row("scored", "last_review", "all", text="2026Q1"),
        row("scored", "inside_pct", mip, n=62, hits=58, value=93.5, low=84.6, high=97.5, unit="%"),
        row("scored", "test_less_expected_cmh2o", mip, n=62, value=-0.9, low=-2.8, high=1.0, unit="cmH2O"),
        row("scored", "brier", mip, n=62, value=0.11, unit="squared probability"),
        row("scored", "brier_of_the_share", mip, n=62, value=0.21, unit="squared probability"),
        row("scored", "under_target_since", f"{mip};state=stalled", n=21, hits=19, value=90.5, low=71.1, high=97.3,
            unit="%"),
        row("scored", "under_baseline_since", f"{mip};state=stalled", n=21, hits=8, value=38.1, low=20.8, high=59.1,
            unit="%"),
    ]  # fmt: skip


def ledger() -> list[Result]:
    """Rows of the stalled page."""
    key = "fyvwd6qt;pressure=mip"
    lines = (("first_listed", "2026Q1"), ("standing", "still listed"), ("looked_at_on", "2026-05-14: plan changed"),
             ("off_the_list", "not yet"), ("listed_again", "no"))
    return [
        Result("stalled", "ledger", "reviews_kept", n=2, n_of="reviews", n_people=0, text="2026Q1, 2026Q2"),
        Result("stalled", "ledger", "people", "pressure=mip", n=12),
        Result("stalled", "ledger", "people", "pressure=mip;standing=still listed", n=12),
        Result("stalled", "ledger", "looked_at", "pressure=mip", n=12, hits=7, value=58.3, unit="%"),
        *(Result("stalled", "ledger", s, key, text=t, klass="client") for s, t in lines),
    ]
