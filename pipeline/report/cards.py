"""The cards of the worklist: what one line says and what it unfolds to."""

from __future__ import annotations

from html import escape

from pipeline.report.clients import Client
from pipeline.report.look import Look
from pipeline.report.panels import Scales, drawing, letter
from pipeline.report.views import Card, Html
from pipeline.report.words import (
    day_name,
    estimate,
    interval,
    number,
    people,
    reach,
    sentence,
    tell,
    value,
    week,
    with_unit,
)
from pipeline.results import Result

MARKS = {"found": "found", "looked for, not found": "not_found", "not found": "not_found",
         "not recorded": "not_recorded"}


def state_of(client: Client) -> str:
    """The state without what follows it ("can't tell yet: next test by ..." is "can't tell yet")."""
    return client.text("state").split(":")[0].split("(")[0].strip()


def why_of(client: Client) -> str:
    """Why the client has this state, in the first words of the rule's own note."""
    row = client.facts.get("state")
    return (row.note.split(";")[0] if row and row.note else "") or client.text("state")


def _title(look: Look, client: Client) -> str:
    return look.say("stalled.whom.title", client=client.key, pressure=look.texts.name("pressure", client.pressure))


def _caption(look: Look, client: Client) -> str:
    """One computed sentence on the tests that the panel shows."""
    tests = [r for r in client.many("test_value") if r.value is not None]
    if not tests:
        return look.say("stalled.whom.no_tests")
    return look.say("stalled.whom.caption", pressure=look.texts.name("pressure", client.pressure),
                    first=value(tests[0], places=0), last=value(tests[-1], places=0), week=number(tests[-1].at or 0),
                    slope=estimate(client.facts.get("slope"), level=look.say("stalled.level")))


def _why(client: Client) -> tuple[str, ...]:
    """The rule's own note, a sentence a clause: gain, target, slope, each with its numbers."""
    row = client.facts.get("state")
    return tuple(sentence(clause.strip()) for clause in row.note.split(";")) if row and row.note else ()


def _words(look: Look, client: Client) -> dict[str, str]:
    name = look.texts.name("pressure", client.pressure)
    keys = ("setting", "no_setting", "effort", "effort_band", "no_effort", "adherence", "no_adherence", "weeks")
    return {"pressure": look.say("stalled.panel.pressure", pressure=name)} | {k: look.say(f"stalled.panel.{k}")
                                                                            for k in keys}


def _facts(look: Look, client: Client) -> tuple[tuple[str, str], ...]:
    gain, slope = client.facts.get("gain"), client.facts.get("slope")
    below = client.facts.get("probability_below_target")
    shown = (("slope", _ranged(slope)), ("gain", _ranged(gain)),
             ("adherence", with_unit(client.facts.get("adherence"))),
             ("next", tell(day_name(client.text("next_test_on")))),
             ("below", value(below, look.say("stalled.no_target"), 2) if below and below.value is not None
              else look.say("stalled.no_target")), ("tests_since", _whole(client.facts.get("tests_since"))),
             ("effort", value(client.facts.get("usual_effort"), places=1)))
    return tuple((look.say(f"stalled.fact.{name}"), words) for name, words in shown)


def _ranged(result: Result | None) -> str:
    """A value with its interval, where there is one."""
    if result is None or result.value is None or result.low is None:
        return value(result)
    return f"{value(result)} ({interval(result)})"


def _whole(result: Result | None) -> str:
    if result is None:
        return tell("not recorded")
    return number(result.value) if result.value is not None else people(result)


def topic(reason: str) -> str:
    """The name of a reason: what stands before its numbers."""
    return tell(reason).split(":")[0].split("(")[0].strip().rstrip(".")


def topics(client: Client) -> tuple[str, ...]:
    """The names of the reasons found, each once."""
    return tuple(dict.fromkeys(topic(r.text) for r in client.many("reason")
                               if MARKS.get(r.note, "found") == "found"))


def card(look: Look, client: Client, place: int, scale: Scales) -> Card:
    """Make the card of one client: line, panels, reasons with their marks, questions."""
    panel = drawing(client, scale, f"p{place}", _title(look, client), _caption(look, client), _words(look, client))
    marks: dict[str, list[str]] = {"found": [], "not_found": [], "not_recorded": []}
    for r in client.many("reason"):
        marks[MARKS.get(r.note, "found")].append(r.text)
    order = client.facts.get("order")
    sort = tuple((n, f.value if (f := client.facts.get(n)) else None) for n in ("order", "slope", "gain", "adherence"))
    return Card(
        number(order.value) if order and order.value is not None else number(place), client.key,
        look.texts.name("pressure", client.pressure), look.texts.name("state", state_of(client)), state_of(client),
        client.text("site"), _facts(look, client), _caption(look, client), _why(client), panel,
        _numbers(look, client, place),
        tuple(map(sentence, marks["found"])), tuple(map(topic, marks["not_found"])),
        tuple(map(topic, marks["not_recorded"])), tuple(tell(r.text) for r in client.many("question")),
        topics(client),
        tuple((n, "" if v is None else f"{v:.6g}") for n, v in sort))


def _numbers(look: Look, client: Client, place: int) -> Html:
    """The numbers behind the panels, week by week, as a plain table (a card has no room for a heavier one)."""
    columns = (("test_value", 0), ("fitted", 1), ("setting_in", 1), ("setting_out", 1), ("effort", 1),
               ("weekly_adherence", 0))
    kept = [(c, places) for c, places in columns if client.many(c)]
    cells = {(c, r.at): number(r.value, places) for c, places in kept for r in client.many(c) if r.value is not None}
    weeks = sorted({at for _, at in cells if at is not None})
    gap = escape(look.say("stalled.panel.gap"))
    head = "".join(f'<th scope="col">{escape(look.say(f"stalled.panel.col_{c}"))}</th>'
                   for c in ("week", *(k for k, _ in kept)))
    body = "".join(f'<tr><th scope="row">{number(w)}</th>'
                   + "".join(f"<td>{cells.get((c, w), gap)}</td>" for c, _ in kept) + "</tr>" for w in weeks)
    caption = escape(look.say("stalled.panel.caption", place=number(place)))
    return Html(f'{_notes(look, client)}<details><summary>{escape(look.say("page.numbers"))}</summary>'
                f'<div class="scroll" tabindex="0" role="region" aria-label="{caption}"><table>'
                f"<caption>{caption}</caption>"
                f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div></details>")


def _notes(look: Look, client: Client) -> str:
    """The lettered events and the pauses, in words."""
    events = "; ".join(f"{letter(i)} = {look.texts.name('event', r.text)}, {week(r.at)}"
                       for i, r in enumerate(client.many("event")))
    pauses = "; ".join(look.say("stalled.panel.pause", pause=look.texts.name("pause", r.text),
                                weeks=reach(r.at or 0, r.high or r.at or 0)) for r in client.many("pause"))
    return "".join(f"<p>{escape(look.say(f'stalled.panel.{k}', what=what))}</p>"
                   for k, what in (("events", events), ("pauses", pauses)) if what)
