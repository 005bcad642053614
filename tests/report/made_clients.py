"""Invented clients for the stalled page: computed from nobody."""

from __future__ import annotations

from pipeline.results import Result

STATES = ("falling", "stalled", "stalled", "improving", "levelled off", "can't tell yet: next test by 2026-07-20",
          "not assessable (one test)")


def row(statistic: str, group: str, at: float | None = None, **fields: object) -> Result:
    return Result("stalled", "clients", statistic, group, at, klass="client", **fields)  # type: ignore[arg-type]


def facts(key: str, place: int, state: str) -> list[Result]:
    both = f"{key};pressure=mip"
    slope = -1.2 if state == "falling" else 0.05 * place
    return [
        row("state", both, text=state.split(":")[0].split(" (")[0], note=f"{state}; gain 3.0 cmH2O; slope flat"),
        row("order", both, value=float(place)),
        row("slope", both, value=slope, low=slope - 0.9, high=slope + 0.9, unit="cmH2O/week"),
        row("gain", both, value=2.0 + place, low=-3.0 + place, high=7.0 + place, unit="cmH2O"),
        row("probability_below_target", both, value=0.97), row("tests_since", both, value=5.0, unit="tests"),
        row("adherence", key, value=62.0 + place, unit="%"), row("usual_effort", key, value=5.5),
        row("next_test_on", both, text="2026-07-20"), row("site", key, text=("north", "south", "east")[place % 3]),
    ]


def reasons(key: str) -> list[Result]:
    both = f"{key};pressure=mip"
    return [
        row("reason", both, 1, text="the test changed: gauge-2 replaced in week 9", note="found"),
        row("reason", both, 2, text="too few tests", note="looked for, not found"),
        row("reason", both, 3, text="illness, pause or event: 11 days paused", note="found"),
        row("reason", both, 4, text="eased settings", note="looked for, not found"),
        row("reason", both, 5, text="other tester", note="not recorded"),
        row("question", both, 1, text="Was the new gauge checked against the old one?"),
        row("question", both, 2, text="What has changed since the pause?"),
    ]


def series(key: str, place: int) -> list[Result]:
    both = f"{key};pressure=mip"
    rows = []
    for w in (0, 4, 8, 12, 16, 20):
        level = 52.0 + w * 0.3
        rows.append(row("test_value", both, w, value=level + (w * place) % 5 - 2, low=level - 16, high=level + 16))
    rows += [row("fitted", both, w, value=53.0 + w * 0.25) for w in (8, 20)]
    rows += [row("setting_in", key, w, value=2.0 + w // 4) for w in range(22)]
    rows += [row("effort", key, w, value=5.0 + (w % 4) * 0.5, low=5.0, high=7.0) for w in range(22) if w % 5]
    rows += [row("weekly_adherence", key, w, value=float((w * 37) % 101)) for w in range(22) if w % 6]
    return [*rows, row("pause", key, 9, high=11.0, text="acute_illness"),
            row("event", key, 9, text="respiratory_infection"), row("event", key, 17, text="headache")]


def rows() -> list[Result]:
    made: list[Result] = []
    counts: dict[str, int] = {}
    for place in range(1, 29):
        state = STATES[place % len(STATES)]
        counts[state.split(":")[0].split(" (")[0]] = counts.get(state.split(":")[0].split(" (")[0], 0) + 1
        key = f"key-{place:03d}-abcd"
        made += [*facts(key, place, state), *reasons(key), *series(key, place)]
    totals = [Result("stalled", "how_many", "people", "pressure=mip", n=sum(counts.values()))]
    totals += [Result("stalled", "how_many", "people", f"pressure=mip;state={s}", n=n) for s, n in counts.items()]
    return totals + made
