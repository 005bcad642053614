"""At most three questions for a conversation about a flag: prompts, never orders, never advice on a dose."""

from collections.abc import Sequence

from pipeline.stats import reasons as why
from pipeline.stats.reasons import FOUND, Evidence, Reason
from pipeline.stats.stalled_rule import FALLING, PROGRESSIVE_CONDITIONS, STALLED, StalledRule

MOST = 3

HEALTH = "Has anything changed in health, medication or sleep since the last test?"
QUESTIONS = {
    why.TEST_CHANGED: "Could the way the test was done explain part of the difference?",
    why.TOO_FEW_TESTS: "Would another test under the same conditions change the picture?",
    why.ILLNESS: "How has recovery gone since the illness, pause or event?",
    why.EASED: "Is the reason for the easier setting still there?",
    why.DIARIES_MISSING: "Were sessions done in the weeks without a log?",
    why.LOW_DOSE: "What has stood in the way of the planned sessions?",
    why.EFFORT_UNDER: "Does the present setting still feel like work?",
    why.EFFORT_OVER: "How does training feel during and after a session?",
    why.ROOM: "Has training begun to feel easy at the present setting?",
    why.NO_RISE_EXPECTED: "Does the present course match what was hoped for?",
    why.WHOLE_PLAN: "Does the whole plan still fit what this person wants from it?",
}
LEADS_TO_HIGHER_LOAD = frozenset({why.EASED, why.EFFORT_UNDER, why.ROOM})
"""Questions whose honest answer could be a higher load; held back wherever that must not be suggested."""


def may_ask_about_load(evidence: Evidence, rule: StalledRule) -> bool:
    """True if a question that may lead to a higher load is allowed.

    Not within rule.quiet_days of an early stop, event or pause; not with a caution on record; nor where cautions,
    events or pauses are not recorded at all (not recorded is not none); not in progressive disease or the conditions
    held as progressive; not where the aim is to slow a fall.
    """
    unknown = evidence.events is None or evidence.pause_days is None
    quiet = unknown or (evidence.days_since_quiet is not None and evidence.days_since_quiet <= rule.quiet_days)
    progressive = evidence.condition_group in PROGRESSIVE_CONDITIONS or evidence.aim == "slow_a_fall"
    return evidence.caution == "none_known" and not quiet and not progressive


def questions(found: Sequence[Reason], evidence: Evidence, rule: StalledRule, *, state: str) -> tuple[str, ...]:
    """Up to three questions for a falling or stalled course, from the reasons found, in their order; else none.

    A falling course is asked about health first. With no reason found the question is about the whole plan.
    """
    if state not in {FALLING, STALLED}:
        return ()
    asked = [HEALTH] if state == FALLING else []
    allowed = may_ask_about_load(evidence, rule)
    codes = [reason.code for reason in found if reason.mark == FOUND]
    asked += [QUESTIONS[code] for code in codes if allowed or code not in LEADS_TO_HIGHER_LOAD]
    if not asked:
        asked = [QUESTIONS[why.WHOLE_PLAN]]
    return tuple(asked[:MOST])
