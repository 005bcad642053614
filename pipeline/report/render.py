"""The one door to the template engine, and the one place of this room that writes files."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import jinja2

from pipeline import assets
from pipeline.report.language import tell
from pipeline.report.look import Look
from pipeline.report.views import ONE_PAGE, Html, Opening, Page, Said, Section, SectionView, view
from pipeline.report.words import day_name, quarter_days, quarter_name


@dataclass(frozen=True)
class Printed:
    """A section as the template sees it."""

    id: str
    question: str
    view: SectionView
    cannot_tell: str


@lru_cache(maxsize=1)
def _engine() -> jinja2.Environment:
    return jinja2.Environment(loader=jinja2.FunctionLoader(lambda name: assets.text("reports", name)), autoescape=True,
                              undefined=jinja2.StrictUndefined, trim_blocks=True, keep_trailing_newline=True)


def script_hash(script: str) -> str:
    """The name by which the page's own policy knows its only script."""
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


def seen(section: Section, look: Look) -> SectionView:
    """Build a section, or say in a sentence why it is empty; states of parts of a section stand below it."""
    rows = look.section(section.id)
    states = tuple(tell(r.text) for r in rows if r.statistic == "state" and r.text)
    if section.needs_rows and all(r.statistic == "state" for r in rows):
        words = states or (look.say("page.no_results"),)
        return SectionView((Said(words, "empty"),), gap=words[0])
    built = section.build(look)
    return view(*built.blocks, Said(states, "note") if states else None, gap=built.gap)


def page(name: Page, look: Look, opening: Opening, sections: Sequence[Section]) -> str:
    """Return one page as text: one file that needs no other."""
    say, meta = look.say, look.meta
    printed = [Printed(s.id, say(f"{s.page}.{s.id}.question"), seen(s, look), _limits(s, look)) for s in sections]
    scripts = ("page.js", "worklist.js") if name == "stalled" else ("page.js",)
    script = "".join(assets.text("reports", n) for n in scripts)
    about = say(f"page.about_{meta.date_policy}", readers=say(f"{name}.readers"), quarter=quarter_name(meta.quarter),
                days=quarter_days(meta.quarter), until=quarter_name(day_name(meta.data_until_on)))
    margin = say(f"page.margin_{meta.edition}")
    return _engine().get_template("page.html.j2").render(
        page=name, is_one=name in ONE_PAGE, meta=meta, say=say, opening=opening, sections=printed, about=about,
        title=f"{say(f'{name}.title')} · {quarter_name(meta.quarter)} · {say(f'page.short_{meta.edition}')}",
        style=Html(assets.text("reports", "page.css")), script=Html(script), script_hash=script_hash(script),
        page_rule=Html(_page_rule(margin, say("page.pages"), is_one=name in ONE_PAGE)),
    )


def _limits(section: Section, look: Look) -> str:
    """What a section cannot tell; of results from sums some cannot tell what they otherwise would."""
    own = look.texts.get(f"sums.{section.id}.cannot_tell") if look.meta.only_sums else ""
    return own or look.texts.get(f"{section.page}.{section.id}.cannot_tell")


def _page_rule(margin: str, of: str, *, is_one: bool) -> str:
    """The margins of printed sides: the class of the edition at the top, the number of the side at the foot."""
    face = "font:9pt sans-serif;color:#5f6773"
    narrow = "margin:10mm 12mm 11mm;" if is_one else ""
    return (f'@page{{{narrow}@top-left{{content:"{margin}";{face}}}'
            f'@bottom-right{{content:counter(page) " {of} " counter(pages);{face}}}}}')


def put_file(path: Path, text: str) -> Path:
    """Write a text file whole (temporary file, then rename) with Unix line ends; return its path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    half = path.with_name(path.name + ".part")
    half.write_bytes(text.encode("utf-8"))
    half.replace(path)
    return path
