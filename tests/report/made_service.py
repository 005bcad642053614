"""Invented results of the section "service": the one-page editions read them. Every code of a split is there."""

from __future__ import annotations

from pipeline.results import Result
from tests.report.made import row, share

ENDED = {"completed": 201, "goal_reached": 24, "illness": 12, "moved_site": 11, "withdrew": 31, "lost": 44, "died": 3,
         "other": 14, "not recorded": 2}
ASKED = {"breathlessness": 240, "cough": 61, "swallowing": 40, "voice": 31, "weaning": 12, "surgery": 11,
         "performance": 5, "other": 16, "not recorded": 2}
CAUTIONS = {"none_known": 290, "cardiac": 41, "pneumothorax_history": 4, "recent_surgery": 14,
            "raised_pressure_risk": 11, "progressive_disease": 33, "ear_or_sinus": 12, "other": 13, "not recorded": 0}
STANDINGS = {"in the window, not tested": 9, "past the window, not tested": 13}
SO_FAR = "so_far=yes"
USUAL = (("days_to_start", 3.0, "days", 409), ("planned_weeks", 18.0, "weeks", 402),
         ("course_weeks", 14.3, "weeks", 342), ("prescribed_sessions_per_week", 11.6, "per week", 409),
         ("done_sessions_per_week", 8.2, "per week", 409))
WALK = "Eur Respir Rev 2025;34:240198, meta-analysis of anchor-based studies, 95 % interval"
COUGH = "review of peak cough flow, Respir Care 2023 (abstract)"


def _counts() -> list[Result]:
    rows = [row("service", "opened", "period=this", n=44), share("service", "trained", "period=this", 41, 44),
            share("service", "trained", SO_FAR, 409, 418), row("service", "ended", "period=this", n=39),
            row("service", "ended", SO_FAR, n=342),
            row("service", "decisions", SO_FAR, n=4, n_of="decisions", n_people=0),
            row("service", "decisions_open", SO_FAR, n=1, n_of="decisions", n_people=0)]
    rows += [row("service", "ended", f"{SO_FAR};reason={k}", n=n) for k, n in ENDED.items()]
    rows += [row("service", "referral", f"reason={k}", n=n) for k, n in ASKED.items()]
    rows += [row("service", "caution", f"caution={k}", n=n) for k, n in CAUTIONS.items()]
    for pressure, n in (("mip", 61), ("mep", 48)):
        rows.append(row("service", "retested", f"period=this;pressure={pressure}", n=n))
        where = f"period=this;pressure={pressure}"
        rows += [row("service", "due", f"{where};standing={k}", n=v) for k, v in STANDINGS.items()]
    return rows


def service() -> list[Result]:
    rows = _counts()
    harms = (("with_event", 78, 418), ("with_serious", 14, 78), ("with_related", 12, 78), ("with_early_stop", 111, 230))
    rows += [share("service", name, SO_FAR, hits, n, low=100 * hits / n - 4, high=100 * hits / n + 4)
             for name, hits, n in harms]
    rows += [row("service", name, SO_FAR, value=v, low=v * 0.7, high=v * 1.3, n=n, unit=unit)
             for name, v, unit, n in USUAL]
    rows += [share("service", "goal_reached", "pressure=mip", 16, 61, low=16.8, high=38.4),
             row("service", "goal_reached", "pressure=mep", n=0, hits=0, unit="%", text="nobody to count")]
    flow = "measure=peak_cough_flow_l_min;level="
    rows += [row("service", "look_again", f"{flow}{v}", value=float(v), unit="L/min", text=t, note=COUGH)
             for v, t in ((160, "cough ineffective"), (270, "secretions retained, risk of infection"))]
    rows += [row("service", "look_again", f"measure=six_minute_walk_m;population={who}", value=v, low=low, high=high,
                 unit="m", text="change that people notice", note=WALK)
             for who, v, low, high in (("respiratory", 25.0, 24.0, 26.0), ("cardiac", 23.0, 8.0, 37.0))]
    return rows
