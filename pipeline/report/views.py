"""What a page is made of, before it is HTML: frozen pieces that the templates lay out and nothing else decides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipeline.report.language import tell

if TYPE_CHECKING:
    from pipeline.report.look import Look

Edition = Literal["internal", "shared"]
Page = Literal["index", "quarter", "protocols", "stalled", "sites", "fix_list", "for_manager", "for_funder",
               "for_referrer"]
#: Editions of one printed side each, for readers who are given nothing else.
ONE_PAGE: tuple[Page, ...] = ("for_manager", "for_funder", "for_referrer")


class Html(str):
    """Markup of our own making: the templates put it in as it is; every other string is escaped."""

    __slots__ = ()

    def __html__(self) -> str:
        return str(self)


NOTHING = Html("")


@dataclass(frozen=True)
class PageMeta:
    """What the head and foot of every page say: edition, quarter ("2026Q3", or "block-003"), last day of the data
    (ISO, or "day 812" from the own start; in the shared edition its quarter), the date policy, and hashes.

    only_sums: the results were computed from sums alone; what needs single rows is on no page.
    """

    edition: Edition
    quarter: str
    data_until_on: str
    settings_hash: str
    data_hash: str
    program_version: str
    command: str
    language: str = "en"
    date_policy: str = "limited"
    plan_hash: str = ""
    only_sums: bool = False


@dataclass(frozen=True)
class Table:
    """A table as HTML, with its caption inside."""

    html: Html
    kind: Literal["table"] = "table"


@dataclass(frozen=True)
class Figure:
    """A chart: claim (computed), measure with group and unit, how to read it, drawing, caution, numbers behind it."""

    id: str
    claim: str
    measure: str
    reading: str
    drawing: Html
    numbers: Html
    caution: str = ""
    key: Html = NOTHING
    kind: Literal["figure"] = "figure"


@dataclass(frozen=True)
class Said:
    """Sentences. `tone` is how they stand: plain, empty (an empty state), note, or list."""

    sentences: tuple[str, ...]
    tone: Literal["plain", "empty", "note", "list"] = "plain"
    kind: Literal["said"] = "said"


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    text: str
    kind: Literal["heading"] = "heading"


@dataclass(frozen=True)
class Fold:
    """Blocks behind a summary line; open or closed at first."""

    summary: str
    blocks: tuple[Block, ...]
    kind: Literal["fold"] = "fold"


@dataclass(frozen=True)
class Group:
    """Blocks that belong together, one under the other."""

    blocks: tuple[Block, ...]
    kind: Literal["group"] = "group"


@dataclass(frozen=True)
class Side:
    """Blocks that stand side by side where there is room."""

    blocks: tuple[Block, ...]
    kind: Literal["side"] = "side"


@dataclass(frozen=True)
class Card:
    """One client (and pressure) of the worklist. `sort` holds the numbers that the page's script sorts by."""

    place: str
    key: str
    pressure: str
    state: str
    state_code: str
    site: str
    facts: tuple[tuple[str, str], ...]
    caption: str
    why: tuple[str, ...]
    drawing: Html
    numbers: Html
    found: tuple[str, ...]
    not_found: tuple[str, ...]
    not_recorded: tuple[str, ...]
    questions: tuple[str, ...]
    topics: tuple[str, ...]
    sort: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Worklist:
    """The cards in the order of checking, the table of those without one, and what both can be filtered by."""

    cards: tuple[Card, ...]
    sites: tuple[str, ...]
    states: tuple[str, ...]
    topics: tuple[str, ...]
    rest: Html = NOTHING
    kind: Literal["worklist"] = "worklist"


@dataclass(frozen=True)
class PageCard:
    """A page as the index shows it."""

    file: str
    title: str
    readers: str


@dataclass(frozen=True)
class PageCards:
    """The pages of an edition."""

    cards: tuple[PageCard, ...]
    kind: Literal["pages"] = "pages"


Block = Table | Figure | Said | Heading | Fold | Group | Side | Worklist | PageCards


@dataclass(frozen=True)
class SectionView:
    """A section ready to print. `gap` says in a few words why it is empty; "" means that it has something to show."""

    blocks: tuple[Block, ...]
    gap: str = ""


@dataclass(frozen=True)
class KeyFigure:
    """One large number with what it counts, its denominator or what is missing, and a small line of its past."""

    value: str
    label: str
    beneath: str
    spark: Html = NOTHING


@dataclass(frozen=True)
class Opening:
    """The first screen under the title: three to five computed sentences and three or four key figures."""

    sentences: tuple[str, ...]
    figures: tuple[KeyFigure, ...]


@dataclass(frozen=True)
class Section:
    """One section of a page: its question opens it, what it cannot tell closes it (texts `<page>.<id>.question`).

    edition: the one that has it; None: both.
    """

    page: Page
    id: str
    build: Callable[[Look], SectionView]
    needs_rows: bool = True
    edition: Edition | None = None


def view(*blocks: Block | None, gap: str = "") -> SectionView:
    """Make a section from the blocks that exist."""
    return SectionView(tuple(b for b in blocks if b is not None), gap)


def side(*blocks: Block | None) -> Block | None:
    """Set the blocks that exist side by side; one alone stands as it is."""
    kept = tuple(b for b in blocks if b is not None)
    return Side(kept) if len(kept) > 1 else next(iter(kept), None)


def said(*sentences: str, tone: Literal["plain", "empty", "note", "list"] = "plain") -> Said | None:
    """Make a paragraph of the sentences that are not empty; None when none is left."""
    kept: Sequence[str] = [tell(s) for s in sentences if s]
    return Said(tuple(kept), tone) if kept else None
