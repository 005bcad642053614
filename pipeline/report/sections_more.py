"""Function beside pressure, manometers, and what earlier reviews said: quarter page; the ledger: stalled page."""

from __future__ import annotations

from pipeline.report.look import Look, part
from pipeline.report.tables import Column, table
from pipeline.report.views import Block, Fold, SectionView, said, view
from pipeline.report.words import (
    dated,
    estimate,
    interval,
    number,
    of,
    people,
    quarter_name,
    reach,
    value,
    week,
    with_unit,
)
from pipeline.results import Result

PRESSURES = ("mip", "mep")


def _heads(look: Look, stem: str, *names: str, words: int = 1) -> list[Column]:
    """Headings of a table; the first `words` columns hold words."""
    return [Column(look.say(f"{stem}.{n}"), place >= words) for place, n in enumerate(names)]


def function(look: Look) -> SectionView:
    """Other measures at both ends, beside the pressure gain of the same people."""
    rows = []
    for change in look.many("function", "change"):
        start, later, gain = (look.one("function", s, change.group) for s in
                              ("start", "later", "mip_gain_of_them_cmh2o"))
        rows.append([look.texts.name("measure", part(change, "measure")), with_unit(start), with_unit(later),
                     with_unit(change), interval(change), people(change), estimate(gain)])
    heads = _heads(look, "quarter.function", "measure", "start", "later", "change", "ci", "n", "mip")
    main = table("t-function", look.say("quarter.function.caption"), heads, rows) if rows else None
    return view(said(look.say("quarter.function.lead")), main, _yardsticks(look))


def _yardsticks(look: Look) -> Block | None:
    rows = []
    for known in (r for r in look.many("function", "important_change") if r.value is not None):
        name = look.say("quarter.function.important", measure=look.texts.name("measure", part(known, "measure")),
                        population=part(known, "population"))
        past = look.one("function", "past_important_change", known.group)
        rows.append([name, f"{value(known, places=0)} {known.unit} ({reach(known.low or 0, known.high or 0)})",
                     of(past)])
    for under in look.many("function", "under_level"):
        name = look.say("quarter.function.under", measure=look.texts.name("measure", part(under, "measure")),
                        level=part(under, "level"), when=part(under, "when"))
        rows.append([name, part(under, "level"), of(under)])
    heads = _heads(look, "quarter.function", "yardstick", "value", "share")
    return table("t-yardsticks", look.say("quarter.function.yardsticks"), heads, rows) if rows else None


def instruments(look: Look) -> SectionView:
    """Steps across changes, bridges between manometers, calibrations."""
    rows = [[f"{part(r, 'site')}, {part(r, 'instrument')}, {dated(part(r, 'on'))}",
             r.note.partition(";")[0] or "not recorded", look.texts.name("pressure", part(r, "pressure")),
             with_unit(r), interval(r), people(r)]
            for r in look.many("instruments", "step_cmh2o")]
    heads = _heads(look, "quarter.instruments", "where", "what", "pressure", "step", "ci", "n", words=3)
    steps = table("t-steps", look.say("quarter.instruments.caption"), heads, rows) if rows else None
    pairs = [[f"{part(r, 'site')}, {part(r, 'instruments')}", look.texts.name("pressure", part(r, "pressure")),
              with_unit(r), interval(r), people(r)]
             for r in look.many("instruments", "paired_difference_cmh2o") if part(r, "instruments")]
    heads = _heads(look, "quarter.instruments", "pair", "pressure", "step", "ci", "n", words=2)
    bridges = table("t-bridges", look.say("quarter.instruments.bridges"), heads, pairs) if pairs else None
    none = next((r.text for r in look.many("instruments", "paired_difference_cmh2o") if r.group == "all"), "")
    return view(said(look.say("quarter.instruments.lead")), steps, bridges, said(none, tone="note"),
                _calibrations(look))


def _calibrations(look: Look) -> Block | None:
    rows = [[f"{part(r, 'site')}, {part(r, 'instrument')}", people(r), dated(r.text)]
            for r in look.many("instruments", "last_calibrated")]
    heads = _heads(look, "quarter.instruments", "where", "times", "last")
    made = table("t-calibrated", look.say("quarter.instruments.calibrated"), heads, rows) if rows else None
    return Fold(look.say("quarter.instruments.calibrated"), (made,)) if made else None


def restated(look: Look) -> SectionView:
    """Printed then, stands now, moved by, because of."""
    last, moved = look.one("restated", "last_review"), look.one("restated", "headlines_moved")
    lead = "" if last is None or moved is None else look.say(
        "quarter.restated.lead", quarter=quarter_name(last.text), moved=number(moved.value or 0),
        n=number(moved.n or 0))
    rows = []
    for then in look.many("restated", "printed"):
        now, by = (look.one("restated", s, then.group) for s in ("stands_now", "moved"))
        rows.append([headline_name(look, then), with_unit(then), with_unit(now), with_unit(by),
                     by.text if by is not None and by.text else "not known"])
    heads = _heads(look, "quarter.restated", "number", "printed", "now", "moved", "why")
    main = table("t-restated", look.say("quarter.restated.caption"), heads, rows) if rows else None
    late = [[part(r, "table").replace("_", " "), look.texts.name("how", part(r, "how")), people(r)]
            for r in look.many("restated", "rows_since")]
    heads = [*_heads(look, "quarter.restated", "table", "how", words=2), Column(look.say("words.rows"))]
    since = table("t-rows-since", look.say("quarter.restated.rows"), heads, late) if late else None
    return view(said(lead), main, since)


def headline_name(look: Look, row: Result) -> str:
    """A reader's name of a restated number: "gain, MIP, week 12"."""
    stem, _, rest = row.group.removeprefix("of=").partition("[")
    where, _, at = rest.partition("]")
    statistic = stem.split(".")[-1]
    name = look.texts.get(f"measures.{statistic}") or statistic.replace("_", " ")
    parts = [look.texts.name(kind, code) for kind, code in (p.partition("=")[::2] for p in where.split(","))]
    return ", ".join([name, *parts, *([week(float(at[1:]))] if at else [])])


def scored(look: Look) -> SectionView:
    """Coverage, mean error and Brier score; people by the state they were given."""
    blocks = []
    for pressure in PRESSURES:
        name, where = look.texts.name("pressure", pressure), f"pressure={pressure}"
        inside, error = (look.one("scored", s, where) for s in ("inside_pct", "test_less_expected_cmh2o"))
        if inside is None:
            continue
        said_so = look.say("quarter.scored.lead", pressure=name, inside=of(inside), error=estimate(error)) \
            if inside.value is not None else look.say("quarter.scored.none", pressure=name)
        score, blind = (look.one("scored", s, where) for s in ("brier", "brier_of_the_share"))
        chance = look.say("quarter.scored.brier", pressure=name, score=number(score.value, 2),
                          blind=number(blind.value, 2)) if score and blind and score.value is not None \
            and blind.value is not None else ""
        blocks.append(said(said_so, chance))
    rows = []
    for under in look.many("scored", "under_baseline_since"):
        target = look.one("scored", "under_target_since", under.group)
        rows.append([part(under, "state"), look.texts.name("pressure", part(under, "pressure")),
                     of(target, "no target"), of(under)])
    heads = _heads(look, "quarter.scored", "state", "pressure", "target", "baseline", words=2)
    main = table("t-scored", look.say("quarter.scored.caption"), heads, rows) if rows else None
    return view(*blocks, main)


def ledger(look: Look) -> SectionView:
    """What became of everybody ever listed: counts, then one line each, folded."""
    kept = look.one("ledger", "reviews_kept")
    lead = "" if kept is None else look.say("stalled.ledger.lead", reviews=number(kept.n or 0),
                                            quarters=dated(kept.text))
    found = {(part(r, "pressure"), part(r, "standing")): r for r in look.many("ledger", "people")}
    standings = list(dict.fromkeys(s for _, s in found if s))
    rows = [[s, *(people(found.get((p, s)), "0") for p in PRESSURES)] for s in standings]
    heads = [Column(look.say("stalled.ledger.standing")), *(Column(look.texts.name("pressure", p)) for p in PRESSURES)]
    counts = table("t-ledger", look.say("stalled.ledger.caption"), heads, rows) if rows else None
    looked = look.say("stalled.ledger.looked", **{p: of(look.one("ledger", "looked_at", f"pressure={p}"))
                                                  for p in PRESSURES}) if rows else ""
    return view(said(lead), counts, said(looked), _lines(look))


def _lines(look: Look) -> Block | None:
    rows = []
    for first in look.many("ledger", "first_listed"):
        cells = [look.one("ledger", s, first.group)
                 for s in ("standing", "looked_at_on", "off_the_list", "listed_again")]
        rows.append([part(first, "key"), look.texts.name("pressure", part(first, "pressure")), dated(first.text),
                     *(dated(c.text) if c else "not recorded" for c in cells)])
    names = ("client", "pressure", "first", "standing", "looked_on", "off", "again")
    heads = _heads(look, "stalled.ledger", *names, words=len(names))
    made = table("t-ledger-lines", look.say("stalled.ledger.lines"), heads, rows) if rows else None
    return Fold(look.say("stalled.ledger.lines"), (made,)) if made else None
