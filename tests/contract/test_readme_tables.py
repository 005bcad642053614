from pipeline.contract import TABLES
from pipeline.contract.readme import readme_tables


def test_every_column_and_code_stands_in_the_readme_tables() -> None:
    text = readme_tables()
    for table in TABLES.values():
        for column in table.columns:
            star = "*" if column.required else ""
            assert f"| `{column.name}`{star} | {column.meaning} |" in text
            assert all(f"`{code}`" in text for code in column.codes)
