"""The README says what the contract and the settings say, and its commands exist."""

from __future__ import annotations

import re

from tests.readme import README, filled


def test_the_generated_parts_are_up_to_date():
    text = README.read_text(encoding="utf-8")
    assert filled(text) == text, "run: python -m tests.readme"


def test_every_command_named_exists():
    from pipeline.cli import main
    named = set(re.findall(r"rmt-outcomes ([a-z][a-z-]+)", README.read_text(encoding="utf-8")))
    assert named <= set(main.commands), named - set(main.commands)
