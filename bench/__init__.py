"""Timings of the mixed-model engine beside statsmodels and R: `python -m bench.mixed`. Not part of the package."""
