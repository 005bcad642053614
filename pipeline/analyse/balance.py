"""Are the compared protocols alike, before and after weights: standardised differences, spread, overlap of chances."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from pipeline.analyse.common import FEW, Array, Frames, Section, group
from pipeline.analyse.fits import Models
from pipeline.analyse.weighting import LEVELS, MODEL, NUMBERS, OVERLAP, Columns, Weighing, weighing
from pipeline.results import ResultSet
from pipeline.settings import Settings
from pipeline.stats.propensity import balance, effective_size

BINS = 20
AUSTIN = "absolute difference of means over the root mean square of the two unweighted SDs"


def folded(columns: Columns) -> dict[str, Array]:
    """Squares and the product of the numeric covariates about their means: a balance of means can hide these."""
    centred = {name: columns.values[name] - columns.values[name].mean() for name in NUMBERS}
    a, b = NUMBERS
    return {**{f"{n} squared": v**2 for n, v in centred.items()}, f"{a} x {b}": centred[a] * centred[b]}


def _cells(columns: Columns, code: str, given: np.ndarray, protocols: tuple[str, ...]) -> int | None:
    """People of the smallest cell that a share of a level and its rest would tell; None for a number."""
    if ":" not in code:
        return None
    has = columns.values[code]
    counts = [int(v) for p in protocols for v in (has[given == p].sum(), (1.0 - has[given == p]).sum())]
    return min((c for c in counts if c > 0), default=0)


def _pairs(section: Section, made: Weighing, where: str) -> None:
    columns, weight = made.columns, made.weight
    assert columns is not None and weight is not None and made.made is not None
    given = np.array(columns.people["protocol"].to_list())
    same = np.ones(len(weight))
    for code, values in {**columns.values, **folded(columns)}.items():
        for pair in combinations(made.made.groups, 2):
            at = f"{where};covariate={code};protocols={pair[0]} - {pair[1]}"
            one, two = (given == p for p in pair)
            # a difference of two shares gives either away: its people are those of the smallest cell
            few = _cells(columns, code, given, pair)
            for when, w in (("before", same), ("after", weight)):
                seen = balance(values[one], values[two], w[one], w[two])
                told = {"n_of": "shares", "n_people": few} if few is not None else {}
                if np.isfinite(seen.smd):
                    section.add(f"smd_{when}", at, value=seen.smd, unit="SD", method=AUSTIN, **told)
                if few is None and np.isfinite(seen.variance_ratio):
                    section.add(f"variance_ratio_{when}", at, value=seen.variance_ratio, unit="ratio",
                                method="variance of the first protocol over that of the second")


def _missing(section: Section, columns: Columns, where: str) -> None:
    for name in (*NUMBERS, *LEVELS):
        lacking = columns.missing[name]
        section.share("missing_pct", f"{where};covariate={name}", int(lacking.sum()), lacking.size)


def _spread(section: Section, made: Weighing, where: str) -> None:
    """People and what the weights leave of them, the largest weight, the smallest chance."""
    assert made.columns is not None and made.weight is not None and made.made is not None
    given = np.array(made.columns.people["protocol"].to_list())
    for protocol in made.made.groups:
        own = made.weight[given == protocol]
        at = f"{where};protocol={protocol}"
        section.add("people", at, n=own.size)
        section.add("effective_n", at, value=effective_size(own), unit="people", method="(sum w)^2 / sum w^2")
        section.add("max_weight", at, value=float(own.max()), unit="times the mean weight")
    section.add("min_chance", where, value=float(made.made.probabilities.min()), unit="probability",
                text="smallest chance of any compared protocol, of anybody")
    section.add("truncated", where, value=0.0, unit="% of people",
                text="no weight is cut: that would change whom it is about")
    largest = max((r.value or 0.0 for r in section.rows if r.statistic == "smd_after" and r.group.startswith(where)
                   and " squared" not in r.group and " x " not in r.group), default=float("nan"))
    section.add("largest_smd_after", where, value=largest, unit="SD", method=AUSTIN)


def bins(chances: Array, fewest: int = FEW + 1) -> list[tuple[float, float, int]]:
    """(from, to, people) of a histogram of chances: BINS equal bins, joined to the right until each holds `fewest`.

    Empty ends are left off. What is left over at the right joins the last bin. One bin where there are too few for two.
    """
    counts = np.histogram(chances, np.linspace(0.0, 1.0, BINS + 1))[0]
    used = np.flatnonzero(counts)
    if not used.size:
        return []
    made: list[tuple[float, float, int]] = []
    start, held = int(used[0]), 0
    for k in range(int(used[0]), int(used[-1]) + 1):
        held += int(counts[k])
        if held >= fewest:
            made.append((start / BINS, (k + 1) / BINS, held))
            start, held = k + 1, 0
    end = (int(used[-1]) + 1) / BINS
    if held and made:
        first, _, last = made.pop()
        made.append((first, end, last + held))
    elif held:
        made = [(start / BINS, end, held)]
    return made


def _overlap(section: Section, made: Weighing, where: str) -> None:
    """People by their chance of a protocol: those who were given it, and the others."""
    assert made.columns is not None and made.made is not None
    given = np.array(made.columns.people["protocol"].to_list())
    for protocol in made.made.groups[1:] if made.kind == OVERLAP else made.made.groups:
        chance = made.made.of(protocol)
        for name, mine in (("yes", given == protocol), ("no", given != protocol)):
            at = f"{where};chance_of={protocol};given={name}"
            total = section.add("people", at, n=int(mine.sum()))
            parts = [section.add("people_by_chance", at, at=low, low=low, high=high, n=n, unit="probability")
                     for low, high, n in bins(chance[mine])]  # fmt: skip
            section.sum_of(total, parts)


def balanced(frames: Frames, models: Models, settings: Settings) -> ResultSet:
    """Section "balance"."""
    section = Section("protocols", "balance")
    for pressure, found in models.items():
        where = group(pressure=pressure)
        if found.gate is None or not found.gate.answers["protocol"].is_open:
            section.state("No contrast of protocols is given, so nobody is weighted.", group=where)
            continue
        made = weighing(found, frames, settings)
        section.add("model", where, text=MODEL, method=made.kind)
        if made.weight is None or made.columns is None:
            section.add("not_weighted", where, n=made.fewest, text=made.trouble)
            section.add("needed", where, value=float(settings.min_per_protocol_weights), unit="people in each protocol",
                        text="settings")
            continue
        _pairs(section, made, where)
        _missing(section, made.columns, where)
        _spread(section, made, where)
        _overlap(section, made, where)
    return section.done()
