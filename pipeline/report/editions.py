"""Which pages an edition has, which sections a page has, and in which order."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

from pipeline.report import (
    only_sums,
    openings,
    sections_balance,
    sections_checklist,
    sections_choices,
    sections_fix_list,
    sections_funder,
    sections_gain,
    sections_index,
    sections_manager,
    sections_model,
    sections_more,
    sections_over_time,
    sections_people,
    sections_plan,
    sections_pressure,
    sections_protocols,
    sections_referrer,
    sections_sites,
    sections_small,
    sections_stalled,
    sections_time,
    sections_tipping,
    sections_training,
)
from pipeline.report.language import catalogue, spoken
from pipeline.report.look import Look
from pipeline.report.render import page, put_file
from pipeline.report.twins import results_json, stalled_csv
from pipeline.report.views import ONE_PAGE, Opening, Page, PageMeta, Section
from pipeline.results import ResultSet

QUARTER = (
    Section("quarter", "answers", sections_index.answers, needs_rows=False),
    Section("quarter", "who", sections_people.who),
    Section("quarter", "counted", sections_people.counted),
    Section("quarter", "records", sections_people.records),
    Section("quarter", "safety", sections_training.safety),
    Section("quarter", "dose", sections_training.dose),
    Section("quarter", "effort", sections_training.effort),
    Section("quarter", "settings", sections_training.settings),
    Section("quarter", "gains", sections_pressure.gains),
    Section("quarter", "gain_apart", sections_gain.gain_apart),
    Section("quarter", "past_error", sections_pressure.past_error),
    Section("quarter", "model", sections_pressure.model),
    Section("quarter", "over_time", sections_over_time.over_time),
    Section("quarter", "decisions", sections_over_time.decisions, needs_rows=False),
    Section("quarter", "function", sections_more.function),
    Section("quarter", "instruments", sections_more.instruments),
    Section("quarter", "sites", sections_sites.sites),
    Section("quarter", "cautions", sections_time.cautions),
    Section("quarter", "restated", sections_more.restated),
    Section("quarter", "scored", sections_more.scored),
    Section("quarter", "small_groups", partial(sections_small.small_groups, page="quarter"), False, "shared"),
    Section("quarter", "made", sections_time.made),
)
STALLED = (
    Section("stalled", "how_many", sections_stalled.how_many, needs_rows=False),
    Section("stalled", "whom", sections_stalled.whom, needs_rows=False),
    Section("stalled", "others", sections_stalled.others, needs_rows=False),
    Section("stalled", "ledger", sections_more.ledger),
    Section("stalled", "rule", sections_stalled.rule, needs_rows=False),
)
PROTOCOLS = (
    Section("protocols", "answers", sections_index.answers, needs_rows=False),
    Section("protocols", "estimand", sections_protocols.estimand),
    Section("protocols", "plan", sections_plan.plan),
    Section("protocols", "training", sections_protocols.training),
    Section("protocols", "compared", sections_protocols.compared),
    Section("protocols", "alike", sections_protocols.alike),
    Section("protocols", "overlap", sections_protocols.overlap),
    Section("protocols", "balance", sections_balance.balance),
    Section("protocols", "difference", sections_model.difference),
    Section("protocols", "dose_response", sections_model.dose_response),
    Section("protocols", "fitted", sections_model.fitted),
    Section("protocols", "believable", sections_model.believable),
    Section("protocols", "choices", sections_choices.choices),
    Section("protocols", "missing_outcome", sections_protocols.missing_outcome),
    Section("protocols", "tipping", sections_tipping.tipping),
    Section("protocols", "small_groups", partial(sections_small.small_groups, page="protocols"), False, "shared"),
    Section("protocols", "checklist", sections_checklist.checklist, needs_rows=False),
)
FIX_LIST = (
    Section("fix_list", "how_many", sections_fix_list.how_many),
    Section("fix_list", "asked", sections_fix_list.asked, needs_rows=False),
)
SITES = (Section("sites", "own", sections_sites.own, needs_rows=False),)
MANAGER = (
    Section("for_manager", "flow", sections_manager.flow, needs_rows=False),
    Section("for_manager", "diaries", sections_manager.diaries, needs_rows=False),
    Section("for_manager", "harms", sections_manager.harmed, needs_rows=False),
    Section("for_manager", "asked", sections_manager.asked, needs_rows=False),
)
FUNDER = (
    Section("for_funder", "reached", sections_funder.reached, needs_rows=False),
    Section("for_funder", "trained", sections_funder.trained, needs_rows=False),
    Section("for_funder", "gain", sections_funder.gain, needs_rows=False),
    Section("for_funder", "beside", sections_funder.beside, needs_rows=False),
    Section("for_funder", "harms", sections_funder.harmed, needs_rows=False),
    Section("for_funder", "missing", sections_funder.missing, needs_rows=False),
)
REFERRER = (
    Section("for_referrer", "sent", sections_referrer.sent, needs_rows=False),
    Section("for_referrer", "course", sections_referrer.course, needs_rows=False),
    Section("for_referrer", "change", sections_referrer.change, needs_rows=False),
    Section("for_referrer", "caution", sections_referrer.caution, needs_rows=False),
    Section("for_referrer", "back", sections_referrer.back, needs_rows=False),
)
INDEX = (
    Section("index", "pages", sections_index.pages, needs_rows=False),
    Section("index", "data", sections_index.data, needs_rows=False),
)
SECTIONS: Mapping[Page, tuple[Section, ...]] = {
    "index": INDEX, "quarter": QUARTER, "protocols": PROTOCOLS, "stalled": STALLED, "sites": SITES,
    "fix_list": FIX_LIST, "for_manager": MANAGER, "for_funder": FUNDER, "for_referrer": REFERRER}
OPENINGS: Mapping[Page, Callable[[Look], Opening]] = {
    "index": openings.index, "quarter": openings.quarter, "protocols": openings.protocols, "stalled": openings.stalled,
    "sites": sections_sites.opening, "fix_list": openings.fix_list,
    "for_manager": sections_manager.opening, "for_funder": sections_funder.opening,
    "for_referrer": sections_referrer.opening}
PAGES: Mapping[str, tuple[Page, ...]] = {
    "internal": ("index", "quarter", "protocols", "stalled", "sites", "fix_list"),
    "shared": ("index", "quarter", "protocols", *ONE_PAGE)}

#: Pages that read the results of other reports than the one of their name.
REPORTS_OF: Mapping[str, tuple[str, ...]] = {
    "index": ("quarter",), "sites": ("quarter",), "fix_list": ("queries",),
    **dict.fromkeys(ONE_PAGE, ("quarter", "protocols"))}


def pages(results: ResultSet, meta: PageMeta) -> dict[str, str]:
    """Make the pages of one edition: file name to HTML."""
    names = tuple(only_sums.SECTIONS) if meta.only_sums else PAGES[meta.edition]
    return {f"{name}.html": one_page(name, results, meta) for name in names}


def one_page(name: Page, results: ResultSet, meta: PageMeta) -> str:
    """Make one page of an edition, in the language of `meta`. A shared page never looks at a row about one person."""
    if meta.edition == "shared":
        results = ResultSet(tuple(r for r in results.rows if r.klass != "client"))
    with spoken(meta.language) as texts:
        if meta.only_sums:
            look = Look.at(results, only_sums.REPORTS, texts, meta)
            return page(name, look, only_sums.opening(name, look), only_sums.filled(name, look))
        look = Look.at(results, ("common", *REPORTS_OF.get(name, (name,))), texts, meta)
        sections = [s for s in SECTIONS[name] if s.edition in (None, meta.edition)]
        return page(name, look, OPENINGS[name](look), sections)


def write(results: ResultSet, out: Path, meta: PageMeta) -> list[Path]:
    """Write one edition into `out`: its pages and results.json. The results of the shared edition come protected."""
    made = pages(results, meta) | {"results.json": results_json(results, meta)}
    if meta.edition == "internal":
        made["stalled.csv"] = stalled_csv(Look.at(results, ("stalled",), catalogue(), meta))
    return [put_file(out / name, text) for name, text in made.items()]
