"""Quarter page, second part: safety, dose, effort, settings."""

from __future__ import annotations

from pipeline.report import charts
from pipeline.report.chart_style import C1, C2, MUTED, PALE, Rule, Spot, Words
from pipeline.report.look import Look, part
from pipeline.report.svg import key
from pipeline.report.tables import Column, table, with_bar
from pipeline.report.views import Block, Figure, SectionView, said, side, view
from pipeline.report.words import behind, count, interval, is_hidden, number, of, people, value, week, with_unit
from pipeline.results import Result

CLASSES = ("below", "in", "above", "not recorded")
PAINT = (PALE, C1, C2, MUTED)
MEASURES = ("session_adherence_pct", "session_adherence_unpaused_pct", "breath_adherence_pct",
            "breath_adherence_unpaused_pct", "logged_pct")


def safety(look: Look) -> SectionView:
    """Events and sessions broken off, counted before every filter."""
    serious, related = (look.one("safety", s, "period=this") for s in ("serious", "related"))
    early, aside = look.one("safety", "early_stops", "period=this"), look.one("safety", "in_set_aside", "period=this")
    kinds = list(dict.fromkeys(part(r, "kind") for r in look.many("safety", "events") if part(r, "kind")))
    events = table("t-events", look.say("quarter.safety.caption"), _heads(look, "kind"),
                   [_event_row(look, kind) for kind in kinds]) if kinds else None
    stops = [r for r in look.many("safety", "early_stops", period="this") if part(r, "reason")]
    rows = [[look.texts.name("stop_reason", part(r, "reason")), people(r), behind(r)] for r in stops]
    heads = [Column(look.say("quarter.safety.reason")), Column(look.say("words.sessions")),
             Column(look.say("words.people"))]
    return view(
        said(*_safety_lines(look, serious, related, early, aside)),
        events, side(_sites(look), table("t-stops", look.say("quarter.safety.stops"), heads, rows) if rows else None))


def _safety_lines(look: Look, serious: Result | None, related: Result | None, early: Result | None,
                  aside: Result | None) -> list[str]:
    """Sentences on events and stops; one sentence for all that is hidden."""
    shown = [r for r in (serious, related, early, aside) if r is not None and not is_hidden(r)]
    lines = [] if shown or serious or early else [look.say("quarter.safety.none")]
    if serious in shown and related in shown:
        lines.append(look.say("quarter.safety.judged", serious=_hits(serious), related=_hits(related)))
    if early is not None and early in shown:
        lines.append(look.say("quarter.safety.early", n=people(early), who=behind(early)))
    if aside is not None and aside in shown:
        lines.append(look.say("quarter.safety.aside", n=people(aside)))
    if any(is_hidden(r) for r in (serious, related, early, aside)):
        lines.append(look.say("quarter.safety.hidden"))
    return lines


def _hits(result: Result | None) -> str:
    if result is None:
        return "not recorded"
    return count(result.hits if result.hits is not None else result.n, result.text or "not recorded")


def _heads(look: Look, first: str) -> list[Column]:
    return [Column(look.say(f"quarter.safety.{h}"))
            for h in (first, "this_rows", "this_people", "last_rows", "last_people")]


def _event_row(look: Look, kind: str) -> list[str]:
    cells = []
    for period in ("this", "last"):
        row = look.one("safety", "events", f"period={period};kind={kind}")
        cells += [people(row, "0"), behind(row, "0")]
    return [look.texts.name("event", kind), *cells]


def _sites(look: Look) -> Block | None:
    found = [r for r in look.many("safety", "events", period="this") if part(r, "site")]
    rows = [[part(r, "site"), people(r), behind(r)] for r in found]
    heads = [Column(look.say("words.site")), Column(look.say("quarter.safety.this_rows")),
             Column(look.say("quarter.safety.this_people"))]
    return table("t-events-site", look.say("quarter.safety.by_site"), heads, sorted(rows)) if rows else None


def dose(look: Look) -> SectionView:
    """Sessions and breaths done of those prescribed, with what unlogged weeks could change."""
    middle = look.one("dose", "session_adherence_pct", "period=this")
    low, high = (look.one("dose", f"session_adherence_{end}_pct", "period=this") for end in ("low", "high"))
    logged = look.one("dose", "logged_pct", "period=this")
    without, paused = (look.one("dose", s, "period=this") for s in ("no_prescription", "people_paused"))
    return view(
        said(look.say("quarter.dose.lead", value=with_unit(middle), quartiles=interval(middle)) if middle else "",
             look.say("quarter.dose.bounds", logged=with_unit(logged), low=with_unit(low), high=with_unit(high))
             if logged and low and high else "",
             look.say("quarter.dose.without", n=_hits(without)) if without and not is_hidden(without) else "",
             look.say("quarter.dose.paused", n=_hits(paused)) if paused and not is_hidden(paused) else ""),
        _by_week(look), side(_adherence_bands(look), _by_protocol(look)), _measures(look))


def _adherence_bands(look: Look) -> Block | None:
    found = [r for r in look.many("dose", "people", period="this") if part(r, "adherence")]
    whole = look.one("dose", "people", "period=this")
    all_n = whole.n if whole and whole.n else None
    rows = [[part(r, "adherence"), with_bar(people(r), r.n / all_n if r.n is not None and all_n else None)]
            for r in found]
    heads = [Column(look.say("quarter.dose.band")), Column(look.say("words.people"))]
    return table("t-bands", look.say("quarter.dose.bands"), heads, rows) if rows else None


def _by_week(look: Look) -> Block | None:
    weeks = [r for r in look.many("dose", "adherence_by_week_pct") if r.at is not None]
    known = [r for r in weeks if r.value is not None]
    if len(known) < 2:
        return None
    still = {r.at: people(r) for r in look.many("dose", "people_at_week")}
    first, last = known[0], known[-1]
    claim = look.say("quarter.dose.claim", first_week=number(first.at or 0), first=with_unit(first),
                     last_week=number(last.at or 0), last=with_unit(last))
    spots = [Spot(r.at or 0, r.value, r.low, r.high, look.say("quarter.dose.tip", week=number(r.at or 0),
                                                              value=with_unit(r), n=people(r))) for r in weeks]
    measure = look.say("quarter.dose.measure")
    drawing = charts.curve(Words("dose-week", claim, measure), spots, unit=look.say("quarter.dose.unit"),
                           x_title=look.say("quarter.dose.axis"), rules=[Rule(100, look.say("quarter.dose.full"))],
                           also=(0.0,))
    rows = [[number(r.at or 0), value(r), interval(r), people(r), still.get(r.at, "not recorded")] for r in weeks]
    heads = [Column(look.say(f"quarter.dose.{h}")) for h in ("week", "median", "quartiles", "n", "still")]
    return Figure("fig-dose-week", claim, measure, look.say("quarter.dose.reading"), drawing,
                  table("t-dose-week", look.say("quarter.dose.weeks"), heads, rows).html,
                  look.say("quarter.dose.caution"))


def _measures(look: Look) -> Block | None:
    rows = []
    for measure in MEASURES:
        this, last = (look.one("dose", measure, f"period={p}") for p in ("this", "last"))
        if this or last:
            rows.append([look.say(f"measures.{measure}"), with_unit(this), interval(this), people(this),
                         with_unit(last, "no figure")])
    heads = [Column(look.say(f"quarter.dose.{h}")) for h in ("measure_head", "median", "quartiles", "n", "before")]
    return table("t-measures", look.say("quarter.dose.measures"), heads, rows) if rows else None


def _by_protocol(look: Look) -> Block | None:
    found = [r for r in look.many("dose", "session_adherence_pct", period="this") if part(r, "protocol")]
    rows = [[part(r, "protocol"), with_unit(r), interval(r), people(r)] for r in found]
    heads = [Column(look.say("words.protocol")), *(Column(look.say(f"quarter.dose.{h}"))
                                                   for h in ("median", "quartiles", "n"))]
    return table("t-dose-protocol", look.say("quarter.dose.by_protocol"), heads, rows) if rows else None


def effort(look: Look) -> SectionView:
    """Ratings below, in, above the band or not recorded; each person weighs one."""
    shares = {c: look.one("effort", "effort_share_pct", f"period=this;class={c}") for c in CLASSES}
    before = {c: look.one("effort", "effort_share_pct", f"period=last;class={c}") for c in CLASSES}
    middle = look.one("effort", "in_band_pct", "period=this")
    rows = [[look.texts.name("effort", c), with_unit(shares[c]), with_unit(before[c], "no figure")] for c in CLASSES]
    heads = [Column(look.say("quarter.effort.class")), Column(look.say("quarter.period.this")),
             Column(look.say("quarter.period.last"))]
    return view(
        said(look.say("quarter.effort.lead", share=with_unit(shares["in"]), unknown=with_unit(shares["not recorded"]))
             if shares["in"] else "",
             look.say("quarter.effort.person", value=with_unit(middle), quartiles=interval(middle), n=people(middle))
             if middle else ""),
        _effort_weeks(look), side(table("t-effort", look.say("quarter.effort.caption"), heads, rows), _in_band(look)))


def _effort_weeks(look: Look) -> Block | None:
    found = [r for r in look.many("effort", "effort_share_by_week_pct") if r.at is not None and r.value is not None]
    weeks = sorted({r.at for r in found if r.at is not None})
    if len(weeks) < 2:
        return None
    cells = {(r.at, part(r, "class")): r for r in found}
    words = [look.texts.name("effort", c) for c in CLASSES]
    drawn = [(number(w), look.texts.name("effort", c), cells[w, c].value or 0.0,
              f"{week(w)}, {look.texts.name('effort', c)}: {with_unit(cells[w, c])}")
             for w in weeks for c in CLASSES if (w, c) in cells]
    first, last = cells.get((weeks[0], "in")), cells.get((weeks[-1], "in"))
    claim = look.say("quarter.effort.claim", first=with_unit(first), last=with_unit(last), week=number(weeks[-1]))
    measure = look.say("quarter.effort.measure")
    drawing = charts.stack(Words("effort-week", claim, measure), drawn, words, PAINT,
                           unit=look.say("quarter.effort.unit"), x_title=look.say("quarter.effort.axis"),
                           shown=[number(w) for w in weeks if w % 4 == 0])
    rows = [[number(w), *(with_unit(cells.get((w, c)), "no figure") for c in CLASSES),
             people(cells.get((w, "in")))] for w in weeks]
    heads = [Column(look.say("quarter.effort.week")), *(Column(w) for w in words), Column(look.say("words.people"))]
    return Figure("fig-effort-week", claim, measure, look.say("quarter.effort.reading"), drawing,
                  table("t-effort-week", look.say("quarter.effort.weeks"), heads, rows).html,
                  look.say("quarter.effort.caution"), key(list(zip(PAINT, words, strict=True))[::-1]))


def _in_band(look: Look) -> Block | None:
    found = look.many("effort", "people_by_in_band", period="this")
    most = max((r.n or 0 for r in found), default=0)
    rows = [[part(r, "band"), with_bar(people(r), r.n / most if r.n is not None and most else None)] for r in found]
    heads = [Column(look.say("quarter.effort.share")), Column(look.say("words.people"))]
    return table("t-in-band", look.say("quarter.effort.shares"), heads, rows) if rows else None


def settings(look: Look) -> SectionView:
    """Weeks in which the setting went up, stayed or was eased, and the median setting, per device class."""
    rows, groups = [], []
    for r in look.many("settings", "weeks"):
        rows.append([look.texts.name("change", part(r, "change")),
                     with_bar(of(r), None if r.value is None else r.value / 100), behind(r)])
        groups.append(look.texts.name("device_class", part(r, "device_class")))
    eased = look.one("settings", "eased_sessions", "period=this")
    heads = [Column(look.say("quarter.settings.change")), Column(look.say("quarter.settings.weeks")),
             Column(look.say("words.people"))]
    return view(
        said(look.say("quarter.settings.eased", n=people(eased), who=behind(eased))
             if eased and not is_hidden(eased) else "", look.say("quarter.settings.titration")),
        table("t-settings", look.say("quarter.settings.caption"), heads, rows, groups) if rows else None,
        _medians(look))


def _medians(look: Look) -> Block | None:
    found = [r for r in look.many("settings", "setting_median") if r.at is not None]
    weeks = sorted({r.at for r in found if r.at is not None})
    cells = {(r.group, r.at): r for r in found}
    rows, groups = [], []
    for group in dict.fromkeys(r.group for r in found):
        kind = next(r for r in found if r.group == group)
        rows.append([look.texts.name("direction", part(kind, "direction")),
                     *(value(cells.get((group, w)), "no figure", 1) for w in weeks)])
        groups.append(look.texts.name("device_class", part(kind, "device_class")))
    heads = [Column(look.say("quarter.settings.direction")),
             *(Column(look.say("quarter.settings.week", week=number(w))) for w in weeks)]
    return table("t-setting-weeks", look.say("quarter.settings.medians"), heads, rows, groups) if rows else None
