"""The project keeps its own house rules; and each rule is seen to fail on a planted fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.house import rules

ROOT = Path(__file__).parents[2] / "pipeline"
ALL = (rules.upward_imports, rules.second_doors, rules.forbidden_calls, rules.too_long)


@pytest.mark.parametrize("rule", ALL, ids=lambda r: r.__name__)
def test_the_project_keeps(rule):
    assert rule(ROOT) == []


def plant(tmp_path: Path, name: str, text: str) -> Path:
    path = tmp_path / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    return tmp_path


@pytest.mark.parametrize(
    ("rule", "name", "text", "says"),
    [
        (rules.upward_imports, "stats/mixed.py", "from pipeline.store import open_store\n",
         "stats/mixed.py:1: stats (floor 1) imports store (floor 2); a room imports only from lower floors."),
        (rules.upward_imports, "contract/a.py", "def f():\n    import pipeline.reference\n",
         "contract/a.py:2: contract (floor 1) imports reference (floor 1); a room imports only from lower floors."),
        (rules.second_doors, "report/words.py", "import duckdb\n",
         "report/words.py:1: duckdb comes in by another door; it belongs to store and derive and engines."),
        (rules.second_doors, "stats/other.py", "def f():\n    from statsmodels.api import OLS\n",
         "stats/other.py:2: statsmodels comes in by another door; it belongs to analyse/cross_check.py."),
        (rules.forbidden_calls, "analyse/a.py", "print('x')\n", "analyse/a.py:1: prints; only cli prints."),
        (rules.forbidden_calls, "stats/a.py", "import datetime\nx = datetime.date.today()\n",
         "stats/a.py:2: reads the clock; only stages may."),
        (rules.too_long, "stats/a.py", "x = 1\n" * 301, "stats/a.py: 301 lines, over the budget of 300."),
        (rules.too_long, "stats/a.py", "def f():\n" + "    x = 1\n" * 60,
         "stats/a.py: f has 61 lines, over the budget of 60."),
    ],
)
def test_a_planted_fault_is_said(tmp_path, rule, name, text, says):
    assert rule(plant(tmp_path, name, text)) == [says]


def test_an_opened_file_is_said(tmp_path):
    said = rules.forbidden_calls(plant(tmp_path, "stats/a.py", "from pathlib import Path\nPath('x').read_text()\n"))
    assert len(said) == 1 and said[0].startswith("stats/a.py:2: opens a file;")


def test_a_downward_import_is_fine(tmp_path):
    root = plant(tmp_path, "analyse/a.py", "from pipeline.stats import fit_mixed\nfrom pipeline import results\n")
    assert rules.upward_imports(root) == []
