"""Simulated cohorts with a known truth: the sample files, and fast model frames for studies of the method."""

from pipeline.simulate.cohort import DEFAULT_SEED, Cohort, generate
from pipeline.simulate.scenario import OutcomeTruth, Scenario

__all__ = ["DEFAULT_SEED", "Cohort", "OutcomeTruth", "Scenario", "generate"]
