"""The sample cohort, generated once for the tests that export it."""

import pytest

from pipeline.simulate import Cohort, generate


@pytest.fixture(scope="session")
def cohort() -> Cohort:
    return generate()
