"""What the numbers of the one-page editions mean: the section "service" of the quarter."""

from __future__ import annotations

from pipeline.analyse.definition import define
from pipeline.analyse.definitions_clinic import WINDOW, WORDS, A

OF_STALLED = "pipeline/stats/stalled_rule.py:StalledRule"

SERVICE = (
    define("quarter.service", "opened trained", "people whose course was opened (its first day), and those of them "
           "who have trained in it", "100 with training on record / with a course opened",
           inputs="courses client_weeks", where=f"{A}service.py:service"),
    define("quarter.service", "retested", "people with a comparable later test in the quarter", "counts of people",
           inputs="model", where=f"{A}service.py:service sql/frames/model.sql"),
    define("quarter.service", "ended", "people whose course ended in the quarter; whose last course ended so far, by "
           "reason", "counts of people", inputs="courses", where=f"{A}service.py:service "
           "sql/settled/courses.sql"),
    define("quarter.service", "due", "people in a running course with a baseline and no 12-week test, in the window or "
           "past it by the end of the quarter", "counts of people",
           inputs="courses gains", where=f"{A}service.py:service", settings=WINDOW),
    define("quarter.service", "with_event with_serious with_related with_early_stop", "people with an untoward event, "
           "with one judged serious or related, with a session stopped early", "100 people with one / people looked at",
           inputs="events client_weeks courses", where=f"{A}service.py:service"),
    define("quarter.service", "decisions decisions_open", "decisions of earlier reviews that are kept, and those "
           "without a word on what followed", "counts of entries in annotations.toml", inputs="annotations",
           where=f"{A}service.py:service"),
    define("quarter.service", "referral caution", "everybody by what the referrer asked for, and by the caution on "
           "record", "counts of people, first courses", inputs="courses", where=f"{A}usual_course.py:usual_course"),
    define("quarter.service", "days_to_start", "days from the first record of a course to its first training",
           "first training less the first day of the course, or its baseline test where that came before; a median",
           inputs="courses client_weeks gains", where=f"{A}usual_course.py:days_to_start"),
    define("quarter.service", "planned_weeks course_weeks prescribed_sessions_per_week done_sessions_per_week",
           "the usual first course", "medians over people; weeks not logged are unknown and in no mean",
           inputs="courses client_weeks", where=f"{A}usual_course.py:usual_course"),
    define("quarter.service", "goal_reached", "people who reached the goal that their clinician set", "100 at or above "
           "the goal on two test days / with a goal above the baseline and two later tests", inputs="courses model",
           where=f"{A}usual_course.py:usual_course {OF_STALLED}"),
    define("quarter.service", "look_again", "published levels and changes that call for another look", WORDS,
           inputs="", where="pipeline/reference/worthwhile.py:RiskLevel", source="as each row names it"),
)  # fmt: skip
