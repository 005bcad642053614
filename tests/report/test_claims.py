"""Every title of a figure that claims something says what its rows say; a figure without a check here fails."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape

import pytest

from pipeline.report.editions import pages
from pipeline.report.language import spoken
from pipeline.report.look import part, parts_of
from pipeline.report.words import estimate, number, of, quarter_name, value, with_unit
from pipeline.results import Result, ResultSet
from tests.report import cohorts
from tests.report.sample_pages import edition_of

FIGURE = re.compile(r'<figure id="fig-([^"]+)"><figcaption><span class="claim">(.*?)</span>')


class Rows:
    """The results of one page's report, asked by section, statistic and parts of the group."""

    def __init__(self, results: ResultSet, report: str) -> None:
        self.rows = [r for r in results.rows if r.report == report and r.klass == "aggregate"]

    def all(self, section: str, statistic: str, **parts: str) -> list[Result]:
        return [r for r in self.rows if (r.section, r.statistic) == (section, statistic)
                and parts.items() <= parts_of(r.group).items()]

    def known(self, section: str, statistic: str, **parts: str) -> list[Result]:
        return [r for r in self.all(section, statistic, **parts) if r.value is not None]

    def one(self, section: str, statistic: str, group: str, at: float | None = None) -> Result | None:
        found = [r for r in self.rows if (r.section, r.statistic, r.group) == (section, statistic, group)
                 and (at is None or r.at == at)]
        return found[0] if found else None


def largest(rows: list[Result]) -> float:
    return max(abs(r.value or 0.0) for r in rows)


def alike(rows: Rows, claim: str, slug: str) -> None:
    """The largest difference is that of the rows, and "of those shown" stands where some are hidden."""
    every, known = rows.all("alike", "smd"), rows.known("alike", "smd")
    assert claim.endswith(f"{largest(known):.2f} SD") and ("of those shown" in claim) == (len(known) < len(every))
    widest = [r for r in known if r.value == largest(known)]
    assert any(part(r, "protocols").replace(" - ", " against ") in claim for r in widest)


def balance(rows: Rows, claim: str, slug: str) -> None:
    """Largest before and after weights, squares and products aside."""
    def plain(r: Result) -> bool:
        return not part(r, "covariate").endswith(" squared") and " x " not in part(r, "covariate")
    before = [r for r in rows.known("balance", "smd_before", pressure=slug) if plain(r)]
    groups = {r.group for r in before}
    after = [r for r in rows.known("balance", "smd_after", pressure=slug) if r.group in groups]
    assert f"{largest(before):.2f} SD, after weights {largest(after):.2f} SD" in claim


def overlap(rows: Rows, claim: str, slug: str) -> None:
    """Every bar that is shown within the stretch, and none beyond, has people of both groups."""
    pressure = slug[:3]
    low, high = (float(x) for x in claim.rpartition("cover ")[2].split(" to "))
    protocol = claim.partition("chance of ")[2].partition(":")[0]
    found = rows.all("balance", "people_by_chance", pressure=pressure, chance_of=protocol)
    for given in ("yes", "no"):
        bars = [r for r in found if part(r, "given") == given and r.n is not None]
        assert min(r.low or 0.0 for r in bars) <= low < high <= max(r.high or 0.0 for r in bars)
    edges = {round(x, 2) for r in found for x in (r.low, r.high) if x is not None}
    assert {low, high} <= edges


def pairs(rows: Rows, claim: str, slug: str) -> None:
    known = [r for r in rows.known("difference", "difference_cmh2o", pressure=slug) if r.at == 12]
    widest = max(known, key=lambda r: (abs(r.value or 0.0), r.group))
    assert claim.endswith(f"{part(widest, 'protocols').replace(' - ', ' against ')}, {estimate(widest)}")


def protocols(rows: Rows, claim: str, slug: str) -> None:
    curves = {part(r, "protocol") for r in rows.known("difference", "protocol_gain_curve_cmh2o", pressure=slug)}
    ends = [r for r in rows.known("difference", "protocol_gain_cmh2o", pressure=slug)
            if r.at == 12 and part(r, "protocol") in curves]
    said = claim.partition("weeks: ")[2].split(", ")
    assert sorted(said) == sorted(f"{part(r, 'protocol')} {with_unit(r)}" for r in ends)


def dose(rows: Rows, claim: str, slug: str) -> None:
    found = sorted(rows.known("dose_response", "partial_gain_cmh2o", pressure=slug), key=lambda r: r.at or 0)
    first, last = found[0], found[-1]
    assert f"from {with_unit(first)} at {first.at:g} % of the dose to {with_unit(last)} at {last.at:g} %" in claim


def quantiles(rows: Rows, claim: str, slug: str) -> None:
    found = sorted(rows.known("believable", "residual_quantile_cmh2o", pressure=slug), key=lambda r: r.value or 0)
    assert f"from {with_unit(found[0])} to {with_unit(found[-1])}" in claim


def choices(rows: Rows, claim: str, slug: str) -> None:
    """How many other analyses conclude otherwise: counted anew from their rows, those asked for later aside."""
    pressure, kind, _ = slug.split("-")
    statistic = {"gain": "gain_cmh2o", "difference": "difference_cmh2o", "dose": "dose_per_10_points_cmh2o"}[kind]
    named = re.search(r", (\S+ against [^:]+):", claim)
    tail = f";protocols={named[1].replace(' against ', ' - ')}" if named else ""
    told = rows.one("choices", "conclusion", f"pressure={pressure};of={statistic}{tail}")
    if told is None or told.value is None:
        assert claim.endswith("the primary analysis gives no answer to compare with")
        return
    counted = re.search(r": (none|\d+) of (?:the |(\d+) )?other analyses conclude", claim)
    assert counted is not None, claim
    assert (0 if counted[1] == "none" else int(counted[1])) == told.value
    assert (told.n is None) == (counted[2] is None) and (told.n is None or int(counted[2]) == told.n)
    otherwise = [r for r in rows.all("choices", "changes", pressure=pressure)
                 if r.group.endswith(f";of={statistic}{tail}") and "post hoc" not in part(r, "kind")]
    if told.n is not None and all(not r.text.startswith("hidden") for r in otherwise):
        assert len(otherwise) == told.value


def tipping(rows: Rows, claim: str, slug: str) -> None:
    pair = claim.partition(", ")[2].partition(":")[0].replace(" against ", " - ")
    loss = rows.one("tipping", "tipping_loss_cmh2o", f"pressure={slug[:3]};protocols={pair};who=better;to=doubt", 12)
    if loss is None or loss.value is None:
        assert ": no loss of the people not retested would" in claim
    else:
        assert f": {with_unit(loss)} lost by each person not retested, in the better protocol only" in claim


def tipping_dose(rows: Rows, claim: str, slug: str) -> None:
    all_done = {part(r, "who"): r for r in rows.known("tipping", "dose_if_unlogged_share_cmh2o", pressure=slug)
                if r.at == 100}
    shown = claim.partition("by everybody ")[2].split(", by low gainers only ")
    assert shown == [with_unit(all_done.get("everybody")), with_unit(all_done.get("less"))]


def filled(rows: Rows, claim: str, slug: str) -> None:
    every = [r for r in rows.all("records", "filled", period="this") if part(r, "item") and not part(r, "site")]
    known = [r for r in every if r.value is not None]
    least = min(known, key=lambda r: r.value or 0.0, default=None)
    assert ("items shown" in claim) == (0 < len(known) < len(every))
    assert claim == "Nothing was expected this quarter" if least is None else claim.endswith(of(least))


def dose_week(rows: Rows, claim: str, slug: str) -> None:
    known = sorted(rows.known("dose", "adherence_by_week_pct"), key=lambda r: r.at or 0)
    first, last = known[0], known[-1]
    assert f"from {with_unit(first)} in week {first.at:g} to {with_unit(last)} in week {last.at:g}" in claim


def effort_week(rows: Rows, claim: str, slug: str) -> None:
    known = rows.known("effort", "effort_share_by_week_pct")
    ends = min(r.at or 0 for r in known), max(r.at or 0 for r in known)
    first, last = (next((r for r in known if part(r, "class") == "in" and r.at == at), None) for at in ends)
    assert f": {with_unit(first)} of sessions at the start, {with_unit(last)} in week {ends[1]:g}" in claim


def gain_curve(rows: Rows, claim: str, slug: str) -> None:
    found = [rows.one("gains", "gain_cmh2o", f"pressure={p}", 12) for p in ("mip", "mep")]
    ends = [r for r in found if r is not None and r.value is not None]
    for r in ends:
        assert f"{part(r, 'pressure').upper()} {'+' if (r.value or 0) > 0 else ''}{with_unit(r)}" in claim
    assert claim.count("cmH2O") == len(ends)


def gain_groups(rows: Rows, claim: str, slug: str) -> None:
    model, raw = (rows.one("gains", s, f"pressure={slug}", 12) for s in ("gain_cmh2o", "raw_gain_cmh2o"))
    assert model is not None and f": {value(model)} cmH2O by the model" in claim
    is_known = raw is not None and raw.value is not None
    assert claim.endswith("as measured") == is_known
    assert not is_known or f", {value(raw)} as measured" in claim


def gain_apart(rows: Rows, claim: str, slug: str) -> None:
    gain = rows.one("gain_apart", "measured_cmh2o", f"pressure={slug}", 12)
    left = rows.one("gain_apart", "part_cmh2o", f"pressure={slug};part=remainder", 12)
    assert gain is not None and left is not None and gain.value is not None
    assert f"of {number(gain.value, 1)} cmH2O measured" in claim
    assert f", {number(left.low or 0, 1)} to {number(left.high or 0, 1)} is left" in claim


def dots(rows: Rows, claim: str, slug: str) -> None:
    up = rows.one("past_error", "zone", f"pressure={slug};zone=up", 12)
    is_known = up is not None and up.value is not None
    assert claim.endswith("as quantile dots") != is_known
    assert not is_known or f": {of(up)} rose by more than error" in claim


def over_time(rows: Rows, claim: str, slug: str) -> None:
    """No signal is said only where no rule has fired."""
    about = [r.group for r in rows.all("over_time", "chart_kind")
             if f"measure={slug[:-4].replace('-', '_')}" in r.group and
             (slug.endswith("all") or f"pressure={slug[-3:]}" in r.group)]
    assert len(about) == 1
    fired = [r for r in rows.all("over_time", "signal") if f"{r.group};".startswith(f"{about[0]};")]
    run = rows.one("over_time", "run_chart", about[0])
    is_run = run is not None and run.text == "signal"
    kind = rows.one("over_time", "chart_kind", about[0])
    if kind is not None and kind.text == "none":
        assert claim.endswith("too few quarters to judge")
        return
    assert ("no signal" in claim) == (not fired and not is_run)
    if fired:
        series = rows.all("over_time", slug[:-4].replace("-", "_"))
        when = [quarter_name(r.text.split(" ")[0].rstrip(":;,")) for r in series if r.at == fired[0].at]
        assert fired[0].text in claim and claim.rpartition(", ")[2] in when


def funnel(rows: Rows, claim: str, slug: str) -> None:
    """Sites outside the outer limits, counted anew from the limits at the nearest number of people."""
    measure = next(m for m in {part(r, "measure") for r in rows.all("sites", "funnel_point")}
                   if slug.startswith(m.replace("_", "-")))
    points = rows.all("sites", "funnel_point", measure=measure)
    outside = sum(r.text == "outside 99.8 %" for r in points)
    limits = rows.all("sites", "funnel_limits", measure=measure, level="99.8")
    for point in points:
        near = min(limits, key=lambda r: abs((r.at or 0) - (point.n or 0)), default=None)
        if near is not None and near.at == point.n:
            assert (point.text == "outside 99.8 %") != ((near.low or 0) <= (point.value or 0) <= (near.high or 0))
    of_all = f"{outside} of {len(points)} sites lie outside" if outside else f"all {len(points)} sites lie within"
    assert of_all in claim


CHECKS: dict[str, Callable[[Rows, str, str], None]] = {
    "alike": alike, "balance": balance, "overlap": overlap, "pairs": pairs, "protocols": protocols,
    "dose-week": dose_week, "dose": dose, "quantiles": quantiles, "choices": choices, "tipping-dose": tipping_dose,
    "tipping": tipping, "filled": filled, "effort-week": effort_week, "gain-curve": gain_curve,
    "gain-groups": gain_groups, "gain-apart": gain_apart, "dots": dots, "time": over_time, "funnel": funnel}


def check(made: dict[str, str], results: ResultSet) -> int:
    """Check the title of every figure; return how many there were."""
    seen = 0
    for name, page in made.items():
        for figure, claim in FIGURE.findall(page):
            is_of_quarter = name != "protocols.html" or figure == "gain-curve"  # pages from sums have that one too
            rows = Rows(results, "quarter" if is_of_quarter else "protocols")
            kind = next((k for k in CHECKS if f"{figure}-".startswith(f"{k}-")), None)
            assert kind is not None, f"no check of the title of {figure}: {claim}"
            with spoken("en"):
                CHECKS[kind](rows, unescape(claim), figure.removeprefix(kind).removeprefix("-"))
            seen += 1
    return seen


@pytest.mark.parametrize(("cohort", "edition"), [("full", "internal"), ("full", "shared"), ("suppressed", "shared")])
def test_titles_of_invented_cohorts(cohort: str, edition: str) -> None:
    results = getattr(cohorts, cohort)()
    assert check(pages(results, cohorts.meta(edition)), results) > 10


@pytest.mark.parametrize("edition", ["internal", "shared"])
def test_titles_of_the_sample(edition: str, sample_review) -> None:
    made = edition_of(sample_review[0] / edition, "en")
    assert check(made.made, made.results) > 30


def test_a_wrong_title_is_found() -> None:
    results = cohorts.full()
    made = pages(results, cohorts.meta("internal"))
    up = next(r for r in results.rows if r.group == "pressure=mip;zone=up" and r.statistic == "zone" and r.at == 12)
    wrong = made["quarter.html"].replace(f": {of(up)} rose by more", ": 99 % rose by more")
    assert wrong != made["quarter.html"]
    with pytest.raises(AssertionError):
        check({"quarter.html": wrong}, results)
