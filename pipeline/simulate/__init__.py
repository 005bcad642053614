"""Simulated cohorts with a known truth: the sample files, and fast model frames for studies of the method."""

from pipeline.simulate.cohort import DEFAULT_SEED, Cohort, generate
from pipeline.simulate.model_frame import Study, null_truth, simulate_model_frame, tied_sites
from pipeline.simulate.scenario import MEP_TRUTH, MIP_TRUTH, OutcomeTruth, Scenario

__all__ = ["DEFAULT_SEED", "MEP_TRUTH", "MIP_TRUTH", "Cohort", "OutcomeTruth", "Scenario", "Study", "generate",
           "null_truth", "simulate_model_frame", "tied_sites"]
