"""Tasks that share stations and hands, each after another within a wait: the one scheduling engine of the day check.

A resource-constrained schedule with least finish. With ``ortools`` (the ``days`` extra) CP-SAT finds and proves it; without
it a serial list schedule gives one that is safe and sometimes longer. Johnson's rule (Johnson 1954) is here for two stations
in line, where it is best.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import permutations
from typing import Any

from ledger.errors import BadInput


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """This task starts after task number ``task`` ends, at most ``most_wait`` minutes later (None: any wait)."""

    task: int
    most_wait: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A step: minutes, what it takes of each resource, what it waits for, the earliest start, and its colour family.

    ``job``: number of the batch; ``family`` matters where a station needs a clean-down between families.
    """

    minutes: int
    needs: Mapping[str, int] = field(default_factory=dict)
    after: tuple[After, ...] = ()
    job: int = 0
    earliest: int = 0
    latest_start: int | None = None
    family: str = ""


@dataclass(frozen=True, slots=True)
class Timetable:
    """Start of each task, the finish, how it was found, and whether the finish is proven least."""

    starts: tuple[int, ...]
    finish: int
    method: str
    proven: bool


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
    by_list = _list(tasks, room, clean or {}, in_line)
    if use_solver is None:
        use_solver = solver_there()
    if not use_solver:
        return by_list if by_list is not None and (latest is None or by_list.finish <= latest) else None
    if any_that_fits and by_list is not None and (latest is None or by_list.finish <= latest):
        return by_list
    return _solve(tasks, room, clean or {}, latest, by_list, effort, any_that_fits, in_line)


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


def _list(
    tasks: Sequence[Task], room: Mapping[str, int], clean: Mapping[str, int], in_line: bool = False
) -> Timetable | None:
    """Serial list schedule: jobs one by one, each as a block without waits where waits are bounded; the best of the orders."""
    jobs = sorted({task.job for task in tasks})
    linked = any(link.most_wait is not None for task in tasks for link in task.after)
    orders: list[tuple[int, ...]] = (
        list(permutations(jobs)) if len(jobs) <= 5 else [tuple(jobs), tuple(reversed(jobs)), _by_tail(tasks, jobs)]
    )
    best: Timetable | None = None
    for order in orders:
        starts = _place(tasks, room, clean, order, linked, in_line)
        if starts is None:
            continue
        finish = max(s + t.minutes for s, t in zip(starts, tasks, strict=True))
        if best is None or finish < best.finish:
            best = Timetable(tuple(starts), finish, "list", False)
    return best


def _by_tail(tasks: Sequence[Task], jobs: list[int]) -> tuple[int, ...]:
    work = {job: sum(t.minutes for t in tasks if t.job == job) for job in jobs}
    return tuple(sorted(jobs, key=lambda job: -work[job]))


def _place(
    tasks: Sequence[Task],
    room: Mapping[str, int],
    clean: Mapping[str, int],
    order: tuple[int, ...],
    linked: bool,
    in_line: bool,
) -> list[int] | None:
    horizon = 2 * (sum(t.minutes for t in tasks) + max(t.earliest for t in tasks)) + 60
    horizon += sum(clean.values()) * len(tasks)
    used = {name: [0] * horizon for name in room}
    last_family: dict[str, list[tuple[int, int, str]]] = {name: [] for name in clean}
    starts: list[int | None] = [None] * len(tasks)
    passed: dict[str, int] = {}
    moments = {0, *(task.earliest for task in tasks)}  # something can only begin when something else ends

    def free(k: int, at: int) -> bool:
        task = tasks[k]
        if at < task.earliest or at + task.minutes > horizon:
            return False
        if task.latest_start is not None and at > task.latest_start:
            return False
        if in_line and any(
            amount and room[name] == 1 and at < passed.get(name, 0) for name, amount in task.needs.items()
        ):
            return False
        for name, amount in task.needs.items():
            if amount and any(used[name][m] + amount > room[name] for m in range(at, at + task.minutes)):
                return False
            for begin, end, family in last_family.get(name, ()):
                wide = clean[name] if family != task.family else 0
                if amount and at < end + wide and begin < at + task.minutes + wide:
                    return False
        return True

    def take(k: int, at: int) -> None:
        starts[k] = at
        passed.update({name: at + tasks[k].minutes for name, amount in tasks[k].needs.items() if amount})
        moments.update(at + tasks[k].minutes + wide for wide in {0, *(clean.get(n, 0) for n in tasks[k].needs)})
        for name, amount in tasks[k].needs.items():
            for m in range(at, at + tasks[k].minutes):
                used[name][m] += amount
            if amount and name in last_family:
                last_family[name].append((at, at + tasks[k].minutes, tasks[k].family))

    waiting = [k for job in order for k in range(len(tasks)) if tasks[k].job == job]
    while waiting:
        ready = [k for k in waiting if all(starts[link.task] is not None for link in tasks[k].after)]
        if not ready:
            return None
        if linked:
            job = tasks[ready[0]].job
            block = [k for k in waiting if tasks[k].job == job]
            offsets = _block(tasks, block, 0).values()
            when = sorted({m - offset for m in moments for offset in offsets if m >= offset})
            at = next((m for m in when if _block_free(tasks, block, m, free)), None)
            if at is None:
                return None
            for k, start in _block(tasks, block, at).items():
                take(k, start)
            waiting = [k for k in waiting if k not in block]
        else:
            k = ready[0]
            earliest = max([tasks[k].earliest, *(_end(tasks, starts, link.task) for link in tasks[k].after)])
            begin = next((m for m in sorted({earliest, *moments}) if m >= earliest and free(k, m)), None)
            if begin is None:
                return None
            take(k, begin)
            waiting.remove(k)
    return [start if start is not None else 0 for start in starts]


def _end(tasks: Sequence[Task], starts: list[int | None], k: int) -> int:
    start = starts[k]
    return (start if start is not None else 0) + tasks[k].minutes


def _block(tasks: Sequence[Task], block: list[int], at: int) -> dict[int, int]:
    """Starts of a job's steps one after the other without waits from minute ``at``."""
    starts: dict[int, int] = {}
    for k in block:
        starts[k] = max([at, *(starts[link.task] + tasks[link.task].minutes for link in tasks[k].after)])
    return starts


def _block_free(tasks: Sequence[Task], block: list[int], at: int, free: Callable[[int, int], bool]) -> bool:
    return all(free(k, start) for k, start in _block(tasks, block, at).items())


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
