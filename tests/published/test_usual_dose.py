"""The usual dose as an outside check on the defaults: common practice, no source.

2 sets of 10 breaths, twice a day, 6 days a week = 12 sessions, 24 sets, 240 breaths a week; effort 5 to 7 of 0-10.
"""

from pipeline.settings import Settings


def test_the_usual_dose_is_12_sessions_24_sets_and_240_breaths_a_week():
    usual = Settings()
    sessions = usual.usual_sessions_per_day * usual.usual_days_per_week
    sets = sessions * usual.usual_sets_per_session
    assert (sessions, sets, sets * usual.usual_breaths_per_set) == (12, 24, 240)
    assert (usual.usual_effort_low, usual.usual_effort_high) == (5, 7)
    assert usual.usual_dose_assumed is False  # only when a setting says so
