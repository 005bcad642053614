"""`analyse --cross-check`: refit the primary models with statsmodels, by other code, and say whether they agree."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.settings import Settings
from pipeline.stages_frames import frames_of
from pipeline.stages_load import STORE

if TYPE_CHECKING:
    from pipeline.stages import Summary


def add_cross_check(out: Path, settings: Settings, summary: Summary) -> Summary:
    """Add one sentence for each primary model; a fit of ours that is worse ends the command with exit code 5."""
    from pipeline.analyse.cross_check import cross_check
    from pipeline.analyse.earlier import until_quarter
    from pipeline.analyse.fits import fit_primaries
    from pipeline.store import open_store
    with summary.timed("cross-check"), open_store(out / STORE, read_only=True) as store:
        quarter = str(store.sql("select quarter from results.run")["quarter"][0])
        models = fit_primaries(until_quarter(frames_of(store), quarter, settings), settings)
        for pressure, found in models.items():
            primary = found.working("primary")
            if primary is None or primary.fit is None or primary.look is None:
                summary.lines.append(f"Cross-check of {pressure.upper()}: no fitted primary model to check.")
                continue
            checked = cross_check(primary.look.frame, primary.fit.model, primary.fit)
            summary.lines.append(f"Cross-check of {pressure.upper()}: {checked.verdict}. {checked.sentence}")
            if checked.verdict == "ours worse":
                summary.exit_code = 5
    return summary
