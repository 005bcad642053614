"""Shared pages, last part: which small groups were put together, which splits are not told, and why. Read from the
rows of the edition: nothing is counted here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pipeline.identity.merging import OTHER
from pipeline.report.look import Look, part, parts_of
from pipeline.report.views import Heading, Page, SectionView, said, view
from pipeline.report.words import both
from pipeline.results import Result

TOGETHER = "together: "
HIDDEN = ("hidden", "counted with", "within ")
N_GONE = ("n hidden", "n within")
SPLITS = ("standing", "site", "protocol", "condition_group", "age_band", "sex", "mip_predicted_band", "device_class",
          "first_ever", "reason", "cause", "kind")  # fmt: skip
"""What people, events and questions are split by; other names of a group say which number it is."""


def together_of(row: Result) -> tuple[str, ...]:
    """The labels that a row stands for, where it stands for several; () where it does not."""
    told = next((n for n in row.note.split("; ") if n.startswith(TOGETHER)), "")
    return tuple(told.removeprefix(TOGETHER).split(", ")) if told else ()


def is_gone(row: Result) -> bool:
    """Tell whether a row shows no number at all, to protect somebody."""
    return row.n is None and row.value is None and row.text.startswith(HIDDEN)


def small_groups(look: Look, page: Page) -> SectionView:
    """What a page without small groups lacks, in sentences."""
    places = {s: q for s in dict.fromkeys(r.section for r in look.rows)
              if (q := look.texts.get(f"{page}.{s}.question") or look.texts.get(f"quarter.{s}.question"))}  # fmt: skip
    merged, left_out = _merged(look, places), _left_out(look, places)
    say = "page.small_groups"
    no_n = any(note.startswith(N_GONE) for r in look.rows for note in r.note.split("; "))
    return view(
        said(look.say(f"{say}.lead")),
        Heading(look.say(f"{say}.together")) if merged else None,
        said(*merged, tone="list") if merged else said(look.say(f"{say}.none_together")),
        Heading(look.say(f"{say}.left_out")) if left_out else None,
        said(*left_out, tone="list") if left_out else said(look.say(f"{say}.none_left_out")),
        said(look.say(f"{say}.no_n") if no_n else "", tone="note"),
    )


def _merged(look: Look, places: Mapping[str, str]) -> tuple[str, ...]:
    """One sentence for each split of a section some of whose groups were put together."""
    found: dict[tuple[str, str, tuple[str, ...]], None] = {}
    for row in look.rows:
        labels = together_of(row)
        split = next((n for n, v in parts_of(row.group).items() if n in SPLITS and v == _label(row, labels)), "")
        if labels and split:
            found[row.section, split, labels] = None
    return tuple(look.say("page.small_groups.these", place=places[s], split=look.texts.name("dimension", split),
                          groups=_listed(look.texts.name(split, v) for v in labels))
                 for s, split, labels in found if s in places)  # fmt: skip


def _listed(words: Iterable[str]) -> str:
    """Print "one, another and a third"."""
    *first, last = words
    return both(", ".join(first), last) if first else last


def _label(row: Result, labels: tuple[str, ...]) -> str:
    """The label under which a row tells several groups."""
    return next((v for v in parts_of(row.group).values() if v in (OTHER, ", ".join(labels))), "")


def _left_out(look: Look, places: Mapping[str, str]) -> tuple[str, ...]:
    """One sentence for each section with the splits of it of which no number at all is shown."""
    sentences = []
    for section, question in places.items():
        rows = look.section(section)
        gone = [s for s in SPLITS if _is_left_out([r for r in rows if part(r, s)])]
        if gone:
            sentences.append(look.say("page.small_groups.not_by", place=question, splits=_listed(
                look.texts.name("dimension", s) for s in gone)))
    return tuple(sentences)


def _is_left_out(rows: Iterable[Result]) -> bool:
    told = [r for r in rows if r.n is not None or r.value is not None or r.text]
    return bool(told) and all(is_gone(r) or (r.n == 0 and not r.value) for r in told) and any(map(is_gone, told))
