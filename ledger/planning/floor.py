"""Tasks that share stations and hands, each after another within a wait: the one scheduling engine of the day check.

A resource-constrained schedule with least finish. With ``ortools`` (the ``days`` extra) CP-SAT finds and proves it; without
it a serial list schedule gives one that is safe and sometimes longer. Johnson's rule (Johnson 1954) is here for two stations
in line, where it is best.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ledger.errors import BadInput
from ledger.planning.list_schedule import by_list
from ledger.planning.tasks import After, Task, Timetable

__all__ = ["After", "Task", "Timetable", "johnson", "solver_there", "timetable"]


def solver_there() -> bool:
    """Whether ``ortools`` can be used."""
    try:
        import ortools.sat.python.cp_model  # noqa: F401
    except ImportError:
        return False
    return True


def timetable(
    tasks: Sequence[Task],
    room: Mapping[str, int],
    *,
    clean: Mapping[str, int] | None = None,
    latest: int | None = None,
    use_solver: bool | None = None,
    effort: float = 4.0,
    any_that_fits: bool = False,
    in_line: bool = False,
) -> Timetable | None:
    """The least finish of all tasks within ``room``; None when no schedule ends by ``latest``.

    ``in_line``: no job overtakes another: all stations of one place see the jobs in the same order (a permutation flow shop).
    ``clean``: minutes to clean a station between tasks of different families. ``effort``: the solver's deterministic time.
    ``any_that_fits``: the first schedule that ends by ``latest`` is enough.
    """
    for number, task in enumerate(tasks):
        for name, amount in task.needs.items():
            if amount > room.get(name, 0):
                return None
            if task.minutes < 0 or amount < 0:
                raise BadInput(f"task {number} has {task.minutes} minutes and needs {amount} of {name}", task=number)
    if not tasks:
        return Timetable((), 0, "nothing to do", True)
    listed = by_list(tasks, room, clean or {}, in_line)
    if use_solver is None:
        use_solver = solver_there()
    if not use_solver:
        return listed if listed is not None and (latest is None or listed.finish <= latest) else None
    if any_that_fits and listed is not None and (latest is None or listed.finish <= latest):
        return listed
    return _solve(tasks, room, clean or {}, latest, listed, effort, any_that_fits, in_line)


def _solve(
    tasks: Sequence[Task],
    room: Mapping[str, int],
    clean: Mapping[str, int],
    latest: int | None,
    hint: Timetable | None,
    effort: float,
    any_that_fits: bool,
    in_line: bool,
) -> Timetable | None:
    from ortools.sat.python import cp_model

    horizon = latest if latest is not None else sum(t.minutes for t in tasks) + max(t.earliest for t in tasks)
    horizon += 0 if latest is not None else sum(clean.values()) * len(tasks)
    if any(t.earliest + t.minutes > horizon for t in tasks):
        return None
    model = cp_model.CpModel()
    starts: list[Any] = []
    spans: list[Any] = []
    for number, task in enumerate(tasks):
        high = horizon - task.minutes if task.latest_start is None else min(horizon - task.minutes, task.latest_start)
        if high < task.earliest:
            return None
        starts.append(model.new_int_var(task.earliest, high, f"s{number}"))
        spans.append(model.new_fixed_size_interval_var(starts[number], task.minutes, f"i{number}"))
    finish = model.new_int_var(0, horizon, "finish")
    for number, task in enumerate(tasks):
        model.add(finish >= starts[number] + task.minutes)
        for link in task.after:
            before = tasks[link.task]
            model.add(starts[number] >= starts[link.task] + before.minutes)
            if link.most_wait is not None:
                model.add(starts[number] <= starts[link.task] + before.minutes + link.most_wait)
    for name, most in room.items():
        users = [(k, t.needs[name]) for k, t in enumerate(tasks) if t.needs.get(name)]
        if most == 1:
            model.add_no_overlap([spans[k] for k, _ in users])
            _clean_downs(model, tasks, starts, [k for k, _ in users], clean.get(name, 0))
        elif users:
            model.add_cumulative([spans[k] for k, _ in users], [amount for _, amount in users], most)
    _same_jobs_in_order(model, tasks, starts)
    if in_line:
        _no_overtaking(model, tasks, starts, room)
    if hint is not None and hint.finish <= horizon:
        for var, start in zip(starts, hint.starts, strict=True):
            model.add_hint(var, start)
    if not any_that_fits:
        model.minimize(finish)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = effort
    status = solver.solve(model)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        found = tuple(int(solver.value(var)) for var in starts)
        return Timetable(
            found, int(solver.value(finish)), "constraint solver", status == cp_model.OPTIMAL and not any_that_fits
        )
    if hint is not None and hint.finish <= horizon:
        return hint
    return None


def _same_jobs_in_order(model: Any, tasks: Sequence[Task], starts: list[Any]) -> None:
    """Jobs alike in everything begin in the order of their numbers: which of them is first makes no difference, and need not be tried."""
    jobs: dict[int, list[int]] = {}
    for k, task in enumerate(tasks):
        jobs.setdefault(task.job, []).append(k)
    tied = {
        n for t in tasks for link in t.after if t.job != tasks[link.task].job for n in (t.job, tasks[link.task].job)
    }
    alike: dict[Any, int] = {}
    for job, mine in jobs.items():
        if job in tied:
            continue
        steps = tuple(
            (
                t.minutes, tuple(sorted(t.needs.items())), tuple((link.task - mine[0], link.most_wait) for link in t.after),
                t.earliest, t.latest_start, t.family,
            )
            for t in (tasks[k] for k in mine)
        )  # fmt: skip
        if steps in alike:
            model.add(starts[alike[steps]] <= starts[mine[0]])
        alike[steps] = mine[0]


def _no_overtaking(model: Any, tasks: Sequence[Task], starts: list[Any], room: Mapping[str, int]) -> None:
    """One order of every two jobs, kept at every station of one place."""
    first: dict[tuple[int, int], Any] = {}
    for name, most in room.items():
        users = [k for k, t in enumerate(tasks) if most == 1 and t.needs.get(name)]
        for position, k in enumerate(users):
            for other in users[position + 1 :]:
                one, two = sorted((k, other), key=lambda task: tasks[task].job)
                pair = (tasks[one].job, tasks[two].job)
                if pair[0] != pair[1]:
                    if pair not in first:
                        first[pair] = model.new_bool_var(f"o{pair[0]}_{pair[1]}")
                    model.add(starts[two] >= starts[one] + tasks[one].minutes).only_enforce_if(first[pair])
                    model.add(starts[one] >= starts[two] + tasks[two].minutes).only_enforce_if(~first[pair])


def _clean_downs(model: Any, tasks: Sequence[Task], starts: list[Any], users: list[int], minutes: int) -> None:
    if not minutes:
        return
    for position, k in enumerate(users):
        for other in users[position + 1 :]:
            if tasks[k].family != tasks[other].family:
                first = model.new_bool_var(f"b{k}_{other}")
                model.add(starts[other] >= starts[k] + tasks[k].minutes + minutes).only_enforce_if(first)
                model.add(starts[k] >= starts[other] + tasks[other].minutes + minutes).only_enforce_if(~first)


def johnson(times: Sequence[tuple[int, int]]) -> tuple[tuple[int, ...], int]:
    """The order of jobs with the least finish on two stations in line (Johnson 1954), and that finish."""
    first = sorted((k for k, (a, b) in enumerate(times) if a <= b), key=lambda k: (times[k][0], k))
    last = sorted((k for k, (a, b) in enumerate(times) if a > b), key=lambda k: (-times[k][1], k))
    order = tuple(first + last)
    one = two = 0
    for k in order:
        one += times[k][0]
        two = max(one, two) + times[k][1]
    return order, two
