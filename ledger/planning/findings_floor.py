"""What is wrong with the weeks and show times of a problem: closed, without hands, a station out, two shows at once."""

from __future__ import annotations

from dataclasses import replace

from ledger.planning.finding import Finding, weeks_said
from ledger.planning.problem import Item, Problem, ShowTime, Week

HANDS_WHO = "hands who "
"""How the hands of those who can do a step begin their name."""


def show_times(problem: Problem, items: list[Item], findings: list[Finding]) -> list[ShowTime]:
    """Show times that can be kept; each that cannot is named with what it runs into."""
    kept: list[ShowTime] = []
    for show in sorted(problem.show_times, key=lambda s: (s.week, s.day, s.start, s.end)):
        label = problem.weeks[show.week].label if 0 <= show.week < len(problem.weeks) else f"week {show.week}"
        when = f"{label} day {show.day + 1} {_clock(show.start)}-{_clock(show.end)}"
        clash = next((o for o in kept if (o.week, o.day) == (show.week, show.day) and show.start < o.end), None)
        if not 0 <= show.week < len(problem.weeks):
            wrong = "lies outside the weeks planned"
        elif show.end <= show.start:
            wrong = "ends before it begins"
        elif not 0 <= show.day < problem.weeks[show.week].days:
            wrong = f"is on a day without making (there are {problem.weeks[show.week].days} that week)"
        elif show.start < problem.opens or show.end > problem.closes:
            wrong = f"is outside making hours {_clock(problem.opens)}-{_clock(problem.closes)}"
        elif clash is not None:
            wrong = f"overlaps the show {_clock(clash.start)}-{_clock(clash.end)}"
        else:
            kept.append(show)
            continue
        findings.append(Finding("show-cannot-be", when, f"show {when} {wrong}: it is left out; change or remove it"))
    promised = bool(kept) or any(week.shows for week in problem.weeks)
    if promised and not any(item.good_to_show and item.most_a_week for item in items):
        count = max(len(kept), sum(week.shows for week in problem.weeks))
        text = (
            f"{count} shows are promised but no design that can be made is good to show; mark one or take the shows out"
        )
        findings.append(Finding("nothing-to-show", "shows", text))
    return kept


def _clock(minutes: int) -> str:
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def week_of(week: Week, t: int, shows: list[ShowTime]) -> Week:
    """The week with no figure below nothing, no hands where it is closed, and its kept show times counted."""
    wanted = max(week.shows, sum(1 for show in shows if show.week == t))
    open_days = max(0, week.days)
    return replace(
        week,
        days=open_days,
        hands_minutes=max(0, week.hands_minutes),
        overtime_minutes=max(0, week.overtime_minutes) if open_days else 0,
        helper_shifts=max(0, week.helper_shifts) if open_days else 0,
        stations={name: max(0, minutes) for name, minutes in week.stations.items()},
        shows=wanted if open_days else 0,
    )


def room(problem: Problem, findings: list[Finding]) -> None:
    if all(week.days <= 0 for week in problem.weeks):
        findings.append(
            Finding(
                "no-making-days",
                "weeks",
                f"no week has a making day (0 in {weeks_said(len(problem.weeks))}): only stock is sold; enter the making days",
            )
        )
    for week in problem.weeks:
        if week.hands_minutes < 0 or any(v < 0 for v in week.stations.values()):
            least = min([week.hands_minutes, *week.stations.values()])
            text = f"{week.label}: {least} minutes are below 0 and are taken as 0; enter what there is"
            findings.append(Finding("room-below-nothing", week.label, text))
    idle = [t for t, w in enumerate(problem.weeks) if w.days > 0 and _nobody(w)]
    for when, days, label in _runs(problem, idle):
        findings.append(
            Finding(
                "no-hands",
                label,
                f"{when} {'have' if ' to ' in when else 'has'} {days_said(days)} but no hands (0 person-minutes, overtime or helper shifts): "
                "nothing can be made; enter somebody's hours, overtime or a helper",
            )
        )
    asked = {name for item in problem.items for load in item.ways for name, m in (load.minutes or {}).items() if m > 0}
    for name in dict.fromkeys(name for week in problem.weeks for name in week.stations if name in asked):
        out = [t for t, w in enumerate(problem.weeks) if w.days > 0 and w.stations.get(name) == 0]
        for when, days, label in _runs(problem, out):
            if name.startswith(HANDS_WHO):
                text = (
                    f"{when}: nobody who can {name.removeprefix(HANDS_WHO)} has any hours in {days_said(days)}, so nothing that needs it is "
                    "made; give somebody who can more hours, or enter who else can"
                )
            else:
                text = (
                    f"{when}: the {name} has 0 minutes in {days_said(days)}, so nothing that needs it is made; "
                    "give it minutes or take the days out"
                )
            findings.append(Finding("station-out", label, text))


def days_said(count: int) -> str:
    """`1 making day`, `5 making days`."""
    return f"{count} making {'day' if count == 1 else 'days'}"


def _nobody(week: Week) -> bool:
    return week.hands_minutes >= 0 and week.hands_minutes + week.overtime_minutes + week.helper_shifts == 0


def _runs(problem: Problem, weeks: list[int]) -> list[tuple[str, int, str]]:
    """Weeks in a row as one: (what it is called, its making days, its first label)."""
    found: list[tuple[str, int, str]] = []
    first = 0
    for t in weeks:
        first = first if t - 1 in weeks else t
        if t + 1 in weeks:
            continue
        one, two = problem.weeks[first].label, problem.weeks[t].label
        days = sum(week.days for week in problem.weeks[first : t + 1])
        found.append((one if first == t else f"{one} to {two}", days, one))
    return found
