"""Jobs put on the floor one after another, each as early as it goes: a schedule that is safe, quick and sometimes too long.

The serial list schedule (Kelley 1963, from memory). Where a step may not wait long the job goes on as one block without waits.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import permutations

from ledger.planning.tasks import Task, Timetable


def by_list(
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
