"""The first screen of each page: computed sentences and key figures."""

from __future__ import annotations

from pipeline.report.look import Look, pair, part
from pipeline.report.svg import sparkline
from pipeline.report.views import NOTHING, Html, KeyFigure, Opening
from pipeline.report.words import (
    behind,
    chance,
    count,
    estimate,
    interval,
    is_hidden,
    of,
    people,
    quarter_name,
    reach,
    sentence,
    value,
    with_unit,
)
from pipeline.results import Result


def quarter(look: Look) -> Opening:
    """What the clinic's meeting needs first."""
    lines = (_people_line(look), f"{_gain_line(look)} {_left_line(look, 'mip')}".strip(), _left_line(look, "mep"),
             f"{_dose_line(look)} {_effort_line(look)}", f"{_safety_line(look)} {_open_line(look)}".strip())
    return Opening(tuple(s for s in lines if s), _quarter_figures(look))


def _people_line(look: Look) -> str:
    this, last = (look.one("who", "people", f"period={p}") for p in ("this", "last"))
    if this is None:
        return look.say("quarter.open.nobody", quarter=quarter_name(look.meta.quarter))
    if is_hidden(this):
        return look.say("quarter.open.people_hidden")
    new = look.one("who", "people", "period=this;standing=new")
    if new is None or is_hidden(new):
        return look.say("quarter.open.people_short", n=people(this), last=people(last, "no figure"))
    return look.say("quarter.open.people", n=people(this), last=people(last, "no figure"), new=people(new, "no figure"))


def _gain_line(look: Look) -> str:
    gain = look.one("gains", "gain_cmh2o", "pressure=mip", 12)
    if is_hidden(gain):
        return look.say("quarter.open.hidden", what=look.say("quarter.open.hidden_gain"))
    if gain is None or gain.value is None:
        return look.say("quarter.open.no_gain", why=(gain.text if gain else "") or "no comparable later test")
    sham = look.one("gains", "sham_arm_rise_cmh2o", "pressure=mip;condition_group=any")
    beside = look.say("quarter.open.sham", low=f"{sham.low:.0f}", high=f"{sham.high:.0f}") \
        if sham and sham.low is not None and sham.high is not None else ""
    return f"{look.say('quarter.open.gain', gain=estimate(gain), n=people(gain))} {beside}".strip()


def _left_line(look: Look, pressure: str) -> str:
    """What is left of a measured gain without learning, error and the rest; and who rose by more than error."""
    gain = look.one("gain_apart", "measured_cmh2o", f"pressure={pressure}", 12)
    left = look.one("gain_apart", "part_cmh2o", f"pressure={pressure};part=remainder", 12)
    up = look.one("past_error", "zone", f"pressure={pressure};zone=up", 12)
    if gain is None or gain.value is None or left is None or left.low is None or left.high is None:
        return ""
    said = look.say("quarter.open.left", pressure=look.texts.name("pressure", pressure), gain=value(gain, places=1),
                    left=reach(left.low, left.high, 1))
    return f"{said} {look.say('quarter.open.up', share=of(up))}" if up is not None and up.value is not None else said


def _open_line(look: Look) -> str:
    asked = look.one("records", "queries")
    return look.say("quarter.open.asked", n=people(asked)) if asked is not None and asked.n else ""


def _dose_line(look: Look) -> str:
    this, last = (look.one("dose", "session_adherence_pct", f"period={p}") for p in ("this", "last"))
    if is_hidden(this):
        return look.say("quarter.open.hidden", what=look.say("quarter.open.hidden_dose"))
    if this is None or this.value is None:
        return look.say("quarter.open.no_dose")
    return look.say("quarter.open.dose", value=with_unit(this), quartiles=interval(this), n=people(this),
                    last=with_unit(last, "no figure"))


def _effort_line(look: Look) -> str:
    share = look.one("effort", "effort_share_pct", "period=this;class=in")
    unknown = look.one("effort", "effort_share_pct", "period=this;class=not recorded")
    if is_hidden(share):
        return look.say("quarter.open.hidden", what=look.say("quarter.open.hidden_effort"))
    if share is None or share.value is None:
        return look.say("quarter.open.no_effort")
    return look.say("quarter.open.effort", share=with_unit(share), unknown=with_unit(unknown), n=people(share))


def _safety_line(look: Look) -> str:
    serious, events = (look.one("safety", s, "period=this") for s in ("serious", "events"))
    early = look.one("safety", "early_stops", "period=this")
    if serious is None and early is None:
        return look.say("quarter.open.no_safety")
    if any(is_hidden(r) for r in (serious, events, early)):
        return look.say("quarter.open.hidden", what=look.say("quarter.open.hidden_events"))
    hits = serious.hits if serious and serious.hits is not None else None
    return look.say("quarter.open.safety", n=people(events or serious), serious=count(hits), early=people(early))


def past(look: Look, statistic: str, group: str) -> Html:
    """A small line of a statistic over the quarters."""
    rows = [r for r in look.many("over_time", statistic) if r.group == group]
    return sparkline([r.value for r in rows], look.say("page.spark", quarters=count(len(rows)))) if rows else NOTHING


def _figure(look: Look, key: str, result: Result | None, shown: str, spark: Html = NOTHING) -> KeyFigure | None:
    if result is None or is_hidden(result):
        return None
    beneath = look.say(f"{key}_beneath", n=people(result), ci=interval(result), quartiles=interval(result))
    return KeyFigure(shown, look.say(key), beneath, spark)


def _quarter_figures(look: Look) -> tuple[KeyFigure, ...]:
    who, gain = look.one("who", "people", "period=this"), look.one("gains", "gain_cmh2o", "pressure=mip", 12)
    dose, logged = (look.one("dose", s, "period=this") for s in ("session_adherence_pct", "logged_pct"))
    effort = look.one("effort", "in_band_pct", "period=this")
    made = (
        _figure(look, "quarter.open.fig_people", who, people(who)),
        _figure(look, "quarter.open.fig_gain", gain, ("+" if gain and (gain.value or 0) > 0 else "") + value(gain),
                past(look, "median_gain12_cmh2o", "pressure=mip")),
        _figure(look, "quarter.open.fig_dose", dose, with_unit(dose),
                past(look, "median_session_adherence_pct", "all")),
        _figure(look, "quarter.open.fig_effort", effort, with_unit(effort), past(look, "median_in_band_pct", "all")),
        _figure(look, "quarter.open.fig_logged", logged, with_unit(logged)),
    )
    return tuple(f for f in made if f is not None)


FIRST_STATES = ("falling", "stalled", "can't tell yet", "improving", "levelled off")


def stalled(look: Look) -> Opening:
    """How many are listed, of how many; the counts come from the aggregate rows by state."""
    counts = {(part(r, "pressure"), part(r, "state")): r for r in look.many("how_many", "people")}
    lines = [look.say("stalled.open.nobody")] if not any(
        r.n for (_, state), r in counts.items() if state in ("falling", "stalled")) else []
    for pressure in ("mip", "mep"):
        def of_state(state: str, pressure: str = pressure) -> str:
            return people(counts.get((pressure, state)), "0")

        if (pressure, "") in counts:
            name = look.texts.name("pressure", pressure)
            lines += [look.say("stalled.open.listed", pressure=name, falling=of_state("falling"),
                               stalled=of_state("stalled"), all=of_state("")),
                      look.say("stalled.open.unjudged", pressure=name, unknown=of_state("can't tell yet"),
                               none=of_state("not assessable"))]
    beneath = look.say("stalled.open.fig_state_beneath")
    figures = tuple(KeyFigure(people(counts["mip", s]), look.texts.name("state", s), beneath)
                    for s in FIRST_STATES if ("mip", s) in counts)
    return Opening((*lines, look.say("stalled.open.start")), figures)


def fix_list(look: Look) -> Opening:
    """How many questions are open, and the causes that most of them have."""
    whole = look.one("how_many", "open")
    if whole is None or not whole.n:
        return Opening((look.say("fix_list.nobody"),), ())
    causes = sorted((r for r in look.many("how_many", "open") if part(r, "cause") and not part(r, "site")),
                    key=lambda r: (-(r.n or 0), r.group))
    figures = [KeyFigure(people(whole), look.say("fix_list.open.fig_all"),
                         look.say("fix_list.open.fig_all_beneath", who=behind(whole)))]
    figures += [KeyFigure(people(r), look.texts.name("cause", part(r, "cause")),
                          look.say("fix_list.open.fig_cause_beneath", who=behind(r))) for r in causes[:3]]
    lines = [look.say("fix_list.open.all", n=people(whole), who=behind(whole))]
    if [r.n for r in causes[:2]].count(causes[0].n) == 1:
        lines.append(look.say("fix_list.open.most", cause=look.texts.name("cause", part(causes[0], "cause")),
                              n=people(causes[0])))
    return Opening((*lines, look.say("fix_list.open.kept")), tuple(figures))


def index(look: Look) -> Opening:
    """The quarter's sentences, without its figures: the index leads on."""
    return Opening(quarter(look).sentences, ())


def protocols(look: Look) -> Opening:
    """What the cohort can answer about protocols and dose, in sentences."""
    lines = [line for p in ("mip", "mep") for line in (_difference_line(look, p), _dose_line_of(look, p)) if line]
    figures = tuple(f for p in ("mip", "mep") for f in _seen(look, p))
    return Opening((*lines, look.say("protocols.open.observed")), figures)


def _difference_line(look: Look, pressure: str) -> str:
    name = look.texts.name("pressure", pressure)
    if (primary := _primary(look, pressure)) is not None:
        told = look.say("protocols.open.primary", pressure=name, **_ends(primary), size=estimate(primary),
                        p=chance(look.one("plan", "p_holm", primary.group, primary.at)))
        return f"{told} {_stands(look, primary)}".strip()
    found = [r for r in look.many("difference", "difference_cmh2o", pressure=pressure)
             if r.at == 12 and r.value is not None]
    if not found:
        gate = look.one("can_answer", "answer", f"pressure={pressure};question=protocol")
        why = sentence(gate.note) if gate and gate.note else ""
        return look.say("protocols.open.no_difference", pressure=name, why=why) if why else ""
    widest = max(found, key=lambda r: (abs(r.value or 0.0), r.group))
    p_value = look.one("difference", "p_holm", widest.group, 12)
    told = look.say("protocols.open.difference", pressure=name, **_ends(widest), size=estimate(widest),
                    p=chance(p_value))
    return f"{told} {_stands(look, widest)}".strip()


def _ends(difference: Result) -> dict[str, str]:
    first, _, second = part(difference, "protocols").partition(" - ")
    return {"first": first, "second": second}


def _stands(look: Look, difference: Result) -> str:
    """Whether a difference can be told, how many other analyses conclude otherwise, and what loss would put it in
    doubt."""
    pressure, protocols = part(difference, "pressure"), part(difference, "protocols")
    said = []
    if difference.low is not None and difference.high is not None and difference.low <= 0 <= difference.high:
        said.append(look.say("protocols.open.undecided"))
    told = look.one("choices", "conclusion", f"pressure={pressure};of=difference_cmh2o;protocols={protocols}")
    if told is not None and told.value is not None:
        key = ("none" if told.value == 0 else "some") + ("_hidden" if told.n is None else "")
        said.append(look.say(f"protocols.open.otherwise_{key}", otherwise=value(told, places=0), n=people(told)))
    where = f"pressure={pressure};protocols={protocols};who=better;to=doubt"
    loss = look.one("tipping", "tipping_loss_cmh2o", where, 12)
    if loss is not None and loss.value is not None:
        said.append(look.say("protocols.open.loss", loss=with_unit(loss)))
    return " ".join(said)


def _primary(look: Look, pressure: str) -> Result | None:
    """The primary contrast of a plan, where it is a difference of this pressure at 12 weeks that could be read."""
    return next((r for r in look.many("plan", "contrast_cmh2o", pressure=pressure, of="difference")
                 if r.note.startswith("primary") and r.at == 12 and r.value is not None), None)


def _dose_line_of(look: Look, pressure: str) -> str:
    found = [r for r in look.many("dose_response", "dose_per_10_points_cmh2o", pressure=pressure)
             if r.value is not None]
    shown = look.one("dose_response", "headline", f"pressure={pressure}")
    if not found or shown is None or shown.text != "shown":
        return ""
    return look.say("protocols.open.dose", pressure=look.texts.name("pressure", pressure), change=estimate(found[0]))


def _seen(look: Look, pressure: str) -> list[KeyFigure]:
    name = look.texts.name("pressure", pressure)
    people_in, tests = (look.one("fitted", s, f"pressure={pressure}") for s in ("people", "tests"))
    least = [r for r in look.many("can_answer", "detectable_protocol_difference_cmh2o", pressure=pressure)
             if r.value is not None]
    figures = []
    if people_in and not is_hidden(people_in):
        figures.append(KeyFigure(people(people_in), look.say("protocols.open.fig_people", pressure=name),
                                 look.say("protocols.open.fig_people_beneath", tests=people(tests))))
    if least:
        best = min(least, key=lambda r: (r.value or 0.0, r.group))
        figures.append(KeyFigure(with_unit(best), look.say("protocols.open.fig_detectable", pressure=name), look.say(
            "protocols.open.fig_detectable_beneath", pair=pair(best))))
    return figures
