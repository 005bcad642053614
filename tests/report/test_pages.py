"""Every page, from three invented cohorts: stands alone, is well formed, and says the same bytes everywhere."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from functools import lru_cache
from html.parser import HTMLParser

import pytest

from pipeline.report.editions import one_page, pages
from pipeline.report.views import ONE_PAGE
from tests.report import cohorts

COHORTS = ("full", "tiny", "suppressed")
VOID = {"meta", "br", "img", "input", "link", "hr"}
FORBIDDEN = ("significan", "proven", "failed", "non-complian", "complian", "responder", "poor adherence")


@lru_cache(maxsize=8)
def made(cohort: str) -> dict[str, str]:
    """The pages of a cohort's edition, and of every cohort those of one side, which the shared edition alone has."""
    results = getattr(cohorts, cohort)()
    given = {f"{name}.html": one_page(name, results, cohorts.meta("shared")) for name in ONE_PAGE}
    return pages(results, cohorts.meta("shared" if cohort == "suppressed" else "internal")) | given


class Reader(HTMLParser):
    """Collects what the checks need: ids, tables with captions, images with names, headings, unclosed tags."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.headings: list[int] = []
        self.open: list[str] = []
        self.refs: list[str] = []
        self.tables = self.captions = self.images = self.described = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        have = dict(attrs)
        self.ids += [have["id"] or ""] if "id" in have else []
        for name in ("aria-labelledby", "headers"):
            self.refs += (have.get(name) or "").split()
        self.headings += [int(tag[1])] if re.fullmatch("h[1-6]", tag) else []
        self.tables += tag == "table"
        self.captions += tag == "caption"
        self.images += tag == "svg" and have.get("role") == "img"
        self.described += tag == "svg" and ("aria-labelledby" in have or "aria-label" in have)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-3:]}"
        self.open.pop()


def read(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    return reader


def each_page() -> list[tuple[str, str]]:
    return [(c, p) for c in COHORTS for p in made(c)]


@pytest.mark.parametrize(("cohort", "name"), each_page())
def test_is_well_formed_and_named(cohort: str, name: str) -> None:
    reader = read(made(cohort)[name])
    assert reader.open == []
    assert len(reader.ids) == len(set(reader.ids))
    assert set(reader.refs) <= set(reader.ids)
    assert reader.tables == reader.captions
    assert reader.images == reader.described
    assert reader.headings[0] == 1 and reader.headings.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(reader.headings, reader.headings[1:], strict=False))


@pytest.mark.parametrize(("cohort", "name"), each_page())
def test_stands_alone_and_is_light(cohort: str, name: str) -> None:
    text = made(cohort)[name]
    assert "http://" not in text.replace("http://www.w3.org/2000/svg", "") and "https://" not in text
    assert len(text.encode()) < 1_500_000
    assert text.count("<script>") == 1 and "sha256-" in text


@pytest.mark.parametrize(("cohort", "name"), each_page())
def test_words_do_not_judge(cohort: str, name: str) -> None:
    seen = re.sub(r"<(style|script)>.*?</\1>|<[^>]+>", " ", made(cohort)[name], flags=re.S).lower()
    assert [w for w in FORBIDDEN if w in seen] == []


@pytest.mark.parametrize("name", list(made("full")))
def test_no_empty_cell(name: str) -> None:
    assert re.findall(r"<t[dh][^>]*></t[dh]>", made("full")[name]) == []


@pytest.mark.slow
def test_same_bytes_under_another_zone_seed_and_locale() -> None:
    code = (
        "import hashlib;from tests.report import cohorts;from pipeline.report.editions import pages;"
        "print(hashlib.sha256(repr(pages(cohorts.full(), cohorts.meta('internal'))).encode()).hexdigest())"
    )
    odd = {**os.environ, "TZ": "Australia/Sydney", "PYTHONHASHSEED": "7", "LC_ALL": "C", "POLARS_MAX_THREADS": "1"}
    even = {**os.environ, "TZ": "UTC", "PYTHONHASHSEED": "1", "LC_ALL": "C.UTF-8"}
    runs = [subprocess.run([sys.executable, "-c", code], env=e, capture_output=True, text=True, check=True).stdout
            for e in (odd, even)]
    assert runs[0] == runs[1]
