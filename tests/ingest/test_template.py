"""The workbook to fill in and the diary page: made from the contract, read back without a map, never overwritten."""

from __future__ import annotations

import re
import zipfile

import polars as pl
import pytest
from click.testing import CliRunner

from pipeline.cli import main
from pipeline.contract import TABLES
from pipeline.errors import FileRefused
from pipeline.ingest import read_folder
from pipeline.ingest.excel import Workbook, read_sheet
from pipeline.ingest.template import DIARY, DICTIONARY, WORKBOOK, write_filled, write_template


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("template")
    write_template(folder)
    return folder


def test_every_table_is_a_sheet_with_the_contracts_headings(made):
    book = Workbook(made / WORKBOOK, "workbook")
    assert book.sheets[: len(TABLES)] == tuple(TABLES) and DICTIONARY in book.sheets
    for name, table in TABLES.items():
        assert read_sheet(book, name, name).headings == table.column_names


def test_every_code_list_is_a_drop_down(made):
    with zipfile.ZipFile(made / WORKBOOK) as parts:
        sheets = {name: parts.read(f"xl/worksheets/sheet{k}.xml").decode() for k, name in enumerate(TABLES, start=1)}
    for name, table in TABLES.items():
        lists = re.findall(r'type="list".*?<formula1>(.*?)</formula1>', sheets[name])
        assert len(lists) == sum(1 for c in table.columns if c.codes)
        for column, said in zip((c for c in table.columns if c.codes), lists, strict=True):
            assert said.replace("&quot;", '"').strip('"') == ",".join(column.codes) or said.startswith("codes!$")


def test_the_dictionary_names_every_column_with_its_meaning(made):
    cells = Workbook(made / WORKBOOK, "workbook").cells(DICTIONARY)
    told = set(cells.select(cells.columns[0], cells.columns[2], cells.columns[3]).iter_rows())
    assert {(t.name, c.name, c.meaning) for t in TABLES.values() for c in t.columns} <= told


def test_an_unfilled_workbook_holds_no_table(made):
    with pytest.raises(FileRefused):
        read_folder(made)


def test_the_same_rows_give_the_same_bytes(tmp_path):
    rows = {"pauses": pl.DataFrame({"client_key": ["kq7mzx2a"], "from_on": ["2026-01-02"], "to_on": [None],
                                    "reason": ["other"]}, schema_overrides={"to_on": pl.String})}
    for name in ("a.xlsx", "b.xlsx"):
        write_filled(tmp_path / name, rows)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()


def test_nothing_is_overwritten(tmp_path):
    assert CliRunner().invoke(main, ["template", str(tmp_path)]).exit_code == 0
    before = (tmp_path / WORKBOOK).read_bytes()
    again = CliRunner().invoke(main, ["template", str(tmp_path)])
    assert again.exit_code == 2 and "was not touched" in again.output
    assert (tmp_path / WORKBOOK).read_bytes() == before


def test_the_diary_asks_for_the_columns_of_weekly_logs_in_their_order(made):
    page = (made / DIARY).read_text(encoding="utf-8")
    assert re.findall(r"<th scope=row><code>(\w+)</code>", page) == list(TABLES["weekly_logs"].column_names)
    assert "http" not in page and "<script" not in page


@pytest.mark.browser
def test_the_diary_fits_one_page_of_paper(made, browser, tmp_path):
    page = browser.new_page()
    page.goto((made / DIARY).as_uri())
    page.pdf(path=str(tmp_path / "d.pdf"), prefer_css_page_size=True)
    page.close()
    assert len(re.findall(rb"/Type\s*/Page\b", (tmp_path / "d.pdf").read_bytes())) == 1
