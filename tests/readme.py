"""`python -m tests.readme` writes the generated parts of README.md; the test compares them."""

from __future__ import annotations

import re
from pathlib import Path

README = Path(__file__).parents[1] / "README.md"


def parts() -> dict[str, str]:
    """Return the generated parts of the README by the name of their markers."""
    from pipeline.contract.readme import readme_tables
    from pipeline.settings import readme_table
    return {"input tables": readme_tables(), "settings": readme_table()}


def filled(text: str) -> str:
    """Return the README's text with every generated part made anew."""
    for name, body in parts().items():
        pattern = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end of {name} -->)", re.DOTALL)
        assert pattern.search(text), f"the README has no marker '{name}'"
        text = pattern.sub(lambda m, body=body: f"{m[1]}{body.strip()}\n{m[2]}", text)
    return text


if __name__ == "__main__":
    README.write_text(filled(README.read_text(encoding="utf-8")), encoding="utf-8")
