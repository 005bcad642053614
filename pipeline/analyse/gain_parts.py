"""What a measured gain may be made of beside training: each part with a low, a middle and a high figure, in cmH2O.

Every part is a mean over the people with a baseline and a 12-week test, in the direction of the gain. Parts overlap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.analyse.common import FEW, Frames
from pipeline.analyse.design import WEEKS, with_time
from pipeline.analyse.effects import MeasurementError, learned_by_12_weeks
from pipeline.analyse.fits import PressureModels
from pipeline.analyse.instrument_watch import Change, read_steps, rows_across, step_fit
from pipeline.analyse.people import NOT_YET
from pipeline.reference.within_day import SOURCE, effort_sd_cmh2o
from pipeline.settings import Settings
from pipeline.stats import CannotFit, gains
from pipeline.stats.selection import best_of_sd, excess_when_picked, excess_when_picked_below


@dataclass(frozen=True)
class Part:
    """One part: its figures (None: none can be given), what it assumes, and how it was got."""

    name: str
    low: float | None
    middle: float | None
    high: float | None
    assumes: str
    how: str = ""


def part_of(name: str, figures: tuple[float, ...], middle: float, assumes: str, how: str) -> Part:
    """A part whose ends are the least and the most of its figures."""
    return Part(name, min(*figures, middle), middle, max(*figures, middle), assumes, how)


def learning(frames: Frames, pressure: str, people: int) -> Part:
    """None, half and all of the published learning curve, for those whose baseline was their first test ever."""
    if pressure != "mip":
        return Part("learning", None, None, None, "no learning curve is held for this pressure: it stays "
                    "in what is left")
    full = float(learned_by_12_weeks(frames, pressure).sum()) / people
    return Part("learning", 0.0, full / 2, full, "none, half or all of the rise that people with COPD showed without "
                "training, for first-ever baselines only",
                "fixed curve through Larson 1993 (Chest 104:448), mean over all with a 12-week test")  # fmt: skip


PICKED_BY_PRESSURE = "written_rule"
NOT_PICKED = "no range: by the settings nobody was picked by the measured baseline"
PICKING = "SEM^2 / (SD^2 + SEM^2) x distance of the picked from those they were picked from (Barnett 2005)"


def _by_rule(people: pl.DataFrame, sem: float) -> float:
    """Mean excess over all of people whom a written rule gave their protocol by the measured baseline, in cmH2O."""
    picked = people.filter(pl.col("assigned_by") == PICKED_BY_PRESSURE)
    sd = float(people["baseline_cmh2o"].cast(pl.Float64).to_numpy().std(ddof=1)) if people.height > 1 else 0.0
    if picked.is_empty() or sd <= sem:
        return 0.0
    everybody, mine = (float(np.mean(f["baseline_cmh2o"].to_numpy())) for f in (people, picked))
    return excess_when_picked(mine, everybody, float(np.sqrt(sd**2 - sem**2)), sem) * picked.height / people.height


def regression(people: pl.DataFrame, pressure: str, error: MeasurementError, settings: Settings) -> Part:
    """Regression to the mean: by the rule of entry, and by a rule that gives protocols by the measured pressure.

    people: baseline_cmh2o, assigned_by. Where nobody was picked by the measured baseline the range is 0 to 0.
    """
    cut = settings.entry_below_mip_cmh2o if pressure == "mip" else settings.entry_below_mep_cmh2o
    has_rule = bool(people["assigned_by"].eq(PICKED_BY_PRESSURE).fill_null(False).any())
    by_rule = has_rule and settings.rule_uses_measured_value
    if cut <= 0 and not by_rule:
        return Part("regression", 0.0, 0.0, 0.0, NOT_PICKED, PICKING)
    mean = float(np.mean(people["baseline_cmh2o"].to_numpy()))
    sems = (error.sem, error.low or error.sem, error.high or error.sem)
    try:
        sizes = [(excess_when_picked_below(cut, mean, settings.planning_level_sd_cmh2o, s) if cut > 0 else 0.0)
                 + (_by_rule(people, s) if by_rule else 0.0) for s in sems]  # fmt: skip
    except ValueError:
        return Part("regression", None, None, None, "the mean baseline lies too close to the cut of entry in "
                    "the settings")
    return part_of("regression", (0.0, *sizes), sizes[0], "from none, had the rule not been kept to, to everybody "
                   "having been picked by that one measurement alone", PICKING)  # fmt: skip


def survivors(frames: Frames, found: PressureModels, exits: pl.DataFrame, gain: float) -> Part:
    """Those tested at 12 weeks against all who started: by the model, and had the others gained nothing.

    exits: first courses with exit_step and exit_reason (`people.with_exits`); gain: the measured mean, cmH2O.
    """
    due = exits.filter(pl.col("baseline_cmh2o").is_not_null() & (pl.col("exit_reason") != NOT_YET).fill_null(True))
    tested = due.filter(pl.col("gain12_cmh2o").is_not_null())["client_key"].to_list()
    lost = due.height - len(tested)
    lost = max(lost, FEW) if lost else 0  # a handful is not given away by the size of this part
    worst = gain * lost / max(lost + len(tested), 1)
    by_model = _more_than_all(found, tested, due["client_key"].to_list())
    if by_model is None:
        return part_of("survivors", (0.0, worst), worst / 2, "from none to all: those without a 12-week test gained "
                       "nothing", "measured gain x share without a test")  # fmt: skip
    return part_of("survivors", (by_model, worst), by_model, "from what the model expects of those without a 12-week "
                   "test, given all else that is known of them, to their having gained nothing (counted as ten where "
                   "fewer are missing)", "mean expected gain at week 12, tested less all who started")  # fmt: skip


def _more_than_all(found: PressureModels, tested: list[str], everybody: list[str]) -> float | None:
    """Mean expected gain at week 12 of the tested less that of everybody, by the model without dose."""
    primary = found.working("as_delivered")
    if primary is None or primary.fit is None or primary.look is None:
        return None
    start = primary.look.frame.filter(pl.col("is_baseline") & pl.col("client_key").is_in(everybody)).sort("client_key")
    start = start.with_columns(pl.lit(0.0).alias("efforts_more"))
    later = with_time(start.with_columns(pl.lit(WEEKS).alias("week"), pl.lit(1.0).alias("time12")), primary.built.form)
    try:
        expected = start.select("client_key").with_columns(gains(primary.fit, later, start, 0.0)["gain"])
    except CannotFit:
        return None
    mine = expected.filter(pl.col("client_key").is_in(tested))["gain"].to_numpy()
    return float(mine.mean() - expected["gain"].to_numpy().mean()) if mine.size else None


def kept_at_both(found: PressureModels, frames: Frames, people: pl.DataFrame) -> pl.DataFrame:
    """People whose number of efforts kept is known at both tests: baseline_cmh2o, kept_0, kept_12."""
    kept = frames["model"].filter(pl.col("pressure") == found.pressure).select(
        "client_key", "course_no", "tested_on", pl.col("efforts_kept").cast(pl.Int64))  # fmt: skip
    on = ["client_key", "course_no"]
    at = people.select(*on, "baseline_on", "at12_on", "baseline_cmh2o")
    for day, name in (("baseline_on", "kept_0"), ("at12_on", "kept_12")):
        at = at.join(kept.rename({"tested_on": day, "efforts_kept": name}), on=[*on, day], how="left")
    return at.drop_nulls(["kept_0", "kept_12"]).filter((pl.col("kept_0") > 0) & (pl.col("kept_12") > 0))


def efforts(found: PressureModels, known: pl.DataFrame) -> Part:
    """More efforts kept at the later test: by number alone, and by the model's own figure for one effort more."""
    if known.is_empty():
        return Part("efforts", None, None, None, "how many efforts were kept is not recorded at both tests")
    columns = known.select("kept_0", "kept_12", "baseline_cmh2o").iter_rows()
    alone = float(np.mean([(best_of_sd(b) - best_of_sd(a)) * effort_sd_cmh2o(found.pressure, level)
                           for a, b, level in columns]))  # fmt: skip
    primary = found.working("primary")
    one = primary.term("efforts_more") if primary is not None else None
    more = float((known["kept_12"] - known["kept_0"]).cast(pl.Float64).to_numpy().mean())
    figures = (alone,) if one is None else (alone, one.estimate * more)
    return part_of("efforts", figures, alone, "two ways: the best of more equal efforts, and this cohort's own "
                   "difference for one effort more; those whose number is not recorded taken to be like the others",
                   f"expected best of n x SD of one effort; {SOURCE}")  # fmt: skip


def instruments(found: PressureModels, frames: Frames, people: pl.DataFrame, changes: list[Change]) -> Part:
    """Steps of manometers that lay between the two tests: each mean step times the share of people across it."""
    nothing = Part("instruments", 0.0, 0.0, 0.0, "no repair, replacement or new label lay between anybody's two tests")
    model = found.working("as_delivered")
    if not changes:
        return nothing
    if model is None:
        return Part("instruments", None, None, None, "no model to take the steps from")
    rows, used = rows_across(model, frames, found.pressure, changes)
    shares = _shares_across(rows, people, len(changes))
    crossed = [k for k, share in shares.items() if share != 0.0]
    if not crossed:
        return nothing
    wanted = {k: shares[k] for k in crossed if k in used}
    fit = step_fit(model, rows, used) if wanted else None
    step = read_steps(fit, wanted) if fit is not None else None
    if step is None:
        return Part("instruments", None, None, None, "too few people were tested on both sides of a change to size it")
    left = "" if len(wanted) == len(crossed) else "; changes with too few people on both sides are not in it"
    return Part("instruments", step.low, step.estimate, step.high, "the steps are the same for everybody tested across "
                f"them{left}", "sum of each mean step x share of people across it; 95 % interval, KR")  # fmt: skip


def _shares_across(rows: pl.DataFrame, people: pl.DataFrame, changes: int) -> dict[int, float]:
    """Mean over the people of (test after change k at 12 weeks) less (the same at the baseline)."""
    marks = [f"after_{k}" for k in range(changes)]
    days = rows.select("client_key", "tested_on", *marks)
    at = people.select("client_key", "baseline_on", "at12_on")
    first = at.join(days.rename({"tested_on": "baseline_on"}), on=["client_key", "baseline_on"], how="inner")
    last = at.join(days.rename({"tested_on": "at12_on"}), on=["client_key", "at12_on"], how="inner")
    both = first.join(last, on="client_key", suffix="_last")
    return {k: float((both[f"after_{k}_last"] - both[f"after_{k}"]).to_numpy().mean()) if both.height else 0.0
            for k in range(changes)}  # fmt: skip
