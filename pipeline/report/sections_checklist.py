"""Protocols page, last part: which items of the reporting guidelines these pages answer, where, and what is left.

What stands in a row is looked up: a place counts where it has results, a plan where one is registered.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from pipeline.report.look import Look, part
from pipeline.report.reporting_items import GUIDELINES, Item
from pipeline.report.sections_choices import POST_HOC, STATISTICS
from pipeline.report.sections_plan import registrations
from pipeline.report.tables import Column, linked, table
from pipeline.report.views import Block, Fold, SectionView, said, view
from pipeline.report.words import number

PAGE = "protocols"
HERE, IN_PART, PERSON, EMPTY, NONE = "here", "in_part", "person", "empty", "none"
STATUSES = (HERE, IN_PART, PERSON, EMPTY, NONE)
#: Places that read the results of another report or section than those of their name.
RESULTS_OF = {"protocols#answers": ("common", "can_answer"), "protocols#first": ("common", "can_answer"),
              "index#data": ("common", "data")}  # fmt: skip


def _in_plan(item: str, look: Look) -> bool:
    found = look.one("plan", "item", f"item={item}")
    return found is not None and bool(found.text.strip())


def _chosen(kind: str, look: Look) -> bool:
    """Whether an analysis of that kind (any but the primary one for "") has an answer."""
    return any(r.value is not None and part(r, "kind") in ((kind,) if kind else {part(r, "kind")} - {"primary"})
               for s in STATISTICS for r in look.many("choices", s))  # fmt: skip


def _told(item: str, look: Look) -> bool:
    """Whether the records hold an item of the training."""
    return look.filled_at("protocols", "training") and look.one("training", "not_recorded", f"item={item}") is None


MET: Mapping[str, Callable[[Look], bool]] = {
    "plan": lambda look: bool(registrations(look)),
    **{item: partial(_in_plan, item) for item in ("question", "eligibility", "ethics", "funding")},
    "choices": partial(_chosen, ""), "drop-out": partial(_chosen, "drop-out"), "subgroup": partial(_chosen, POST_HOC),
    **{item: partial(_told, item) for item in ("supervision", "progression rule")},
}  # fmt: skip
"""What an item may need of the results: by name, whether it is there."""


@dataclass(frozen=True)
class Standing:
    """How an item stands on these pages: its status, the places that answer it, and what a person must add."""

    status: str
    places: tuple[str, ...] = ()
    left: str = ""


def standing(guideline: str, item: Item, look: Look) -> Standing:
    """Look up how an item stands."""
    stem = text_key(guideline, item)
    if item.absent:
        return Standing(NONE, left=look.texts.get(f"{stem}_left"))
    is_met = not item.needs or MET[item.needs](look)
    left = look.texts.get(f"{stem}_left" if is_met else f"{stem}_without")
    asked = item.places + (item.more if is_met else ())
    places = tuple(p for p in asked if look.filled_at(*RESULTS_OF.get(p, tuple(p.split("#")))))
    if not places:
        return Standing(EMPTY if asked else PERSON, left=left)
    return Standing(IN_PART if left else HERE, places, left)


def text_key(guideline: str, item: Item) -> str:
    """The key of an item's texts."""
    return f"checklist.{guideline}.{item.key.replace('.', '_')}"


def checklist(look: Look) -> SectionView:
    """One fold a guideline: its summary counts the lines, its table says where each is answered."""
    return view(said(look.say("protocols.checklist.lead"), look.say("protocols.checklist.means")),
                *(_guideline(look, name, items) for name, items in GUIDELINES.items()))


def _guideline(look: Look, name: str, items: tuple[Item, ...]) -> Block:
    found = [standing(name, item, look) for item in items]
    counts = {s: number(sum(f.status == s for f in found)) for s in STATUSES}
    summary = look.say("protocols.checklist.fold", guideline=look.say(f"checklist.{name}.title"), **counts)
    heads = [Column(look.say(f"protocols.checklist.{h}"), False) for h in ("item", "asks", "status", "where")]
    rows = [_row(look, text_key(name, item), f) for item, f in zip(items, found, strict=True)]
    groups = _groups(look, name, items)
    return Fold(summary, (table(f"t-{name}", look.say(f"checklist.{name}.caption"), heads, rows, groups),))


def _groups(look: Look, name: str, items: tuple[Item, ...]) -> list[str]:
    """The heading of each row: it holds until the next item that has one."""
    heading, found = "", []
    for item in items:
        heading = look.texts.get(f"{text_key(name, item)}_from", heading)
        found.append(heading)
    return found if all(found) else []


def _row(look: Look, stem: str, found: Standing) -> list[str]:
    links = "".join(linked(_label(look, place), _target(place)) for place in found.places)
    return [look.say(stem), look.say(f"{stem}_asks"), look.say(f"protocols.checklist.{found.status}"),
            links + found.left or look.say("protocols.checklist.nothing")]


def _label(look: Look, place: str) -> str:
    page, _, section = place.partition("#")
    if section == "first":
        return look.say("protocols.checklist.first")
    question = look.say(f"{page}.{section}.question")
    return question if page == PAGE else look.say(
        "protocols.checklist.on", page=look.say(f"protocols.checklist.page_{page}"), place=question)


def _target(place: str) -> str:
    page, _, section = place.partition("#")
    return f"#{section}" if page == PAGE else f"{page}.html#{section}"
