"""Scheduling with known best times: Johnson 1954, Taillard 1993 (ta001), Fisher and Thompson 1963 (ft06), PSPLIB j301_1, and brute force."""

from __future__ import annotations

import csv
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.planning.floor import After, Task, johnson, solver_there, timetable
from tests.support.shared import shared_path

EFFORT_TA001 = 30.0  # of the solver's deterministic time, far more than it takes
needs_solver = pytest.mark.skipif(not solver_there(), reason="ortools (the days extra) is not installed")


def finish_of(order: tuple[int, ...], times: list[tuple[int, int]]) -> int:
    one = two = 0
    for k in order:
        one += times[k][0]
        two = max(one, two) + times[k][1]
    return two


@pytest.mark.shared
def test_johnsons_own_jobs_take_47() -> None:
    with shared_path("planning-checks", "flowshop_johnson1954.csv").open() as file:
        times = [(int(row["machine_A"]), int(row["machine_B"])) for row in csv.DictReader(file)]
    assert johnson(times) == ((4, 0, 3, 2, 1), 47)  # Johnson 1954: order 5 1 4 3 2, from memory


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=1, max_size=6))
def test_no_order_on_two_stations_beats_johnsons_rule(times: list[tuple[int, int]]) -> None:
    order, finish = johnson(times)
    assert finish == finish_of(order, times)
    assert finish == min(finish_of(other, times) for other in permutations(range(len(times))))


@needs_solver
@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 20), st.integers(1, 20)), min_size=2, max_size=4))
def test_the_day_solver_agrees_with_johnsons_rule(times: list[tuple[int, int]]) -> None:
    tasks = []
    for job, (a, b) in enumerate(times):
        tasks.append(Task(minutes=a, needs={"A": 1}, job=job))
        tasks.append(Task(minutes=b, needs={"B": 1}, job=job, after=(After(task=len(tasks) - 1),)))
    found = timetable(tasks, {"A": 1, "B": 1})
    listed = timetable(tasks, {"A": 1, "B": 1}, use_solver=False)
    assert found is not None and listed is not None
    assert found.proven and found.finish == johnson(times)[1] <= listed.finish


def job_shop() -> list[Task]:
    tasks: list[Task] = []
    with shared_path("planning-checks", "jobshop_ft06.csv").open() as file:
        for row in csv.DictReader(file):
            first = row["step"] == "1"
            link = () if first else (After(task=len(tasks) - 1),)
            machine = row["machine_from_0"]
            tasks.append(Task(minutes=int(row["minutes"]), needs={machine: 1}, after=link, job=int(row["job"])))
    return tasks


@pytest.mark.shared
@needs_solver
def test_twenty_jobs_in_line_through_five_machines_take_1278() -> None:
    with shared_path("planning-checks", "flowshop_ta001.csv").open() as file:
        machines = [[int(row[f"job{n}"]) for n in range(1, 21)] for row in csv.DictReader(file)]
    tasks: list[Task] = []
    for job in range(20):
        for machine, minutes in enumerate(machines):
            link = (After(task=len(tasks) - 1),) if machine else ()
            tasks.append(Task(minutes=minutes[job], needs={str(machine): 1}, after=link, job=job))
    found = timetable(tasks, {str(m): 1 for m in range(5)}, in_line=True, effort=EFFORT_TA001)
    assert found is not None and (found.finish, found.proven) == (1278, True)  # Taillard 1993, ta001 (read)
    for machine in range(5):
        order = sorted(range(20), key=lambda job: found.starts[5 * job + machine])
        assert order == sorted(range(20), key=lambda job: found.starts[5 * job])


def project() -> tuple[list[Task], dict[str, int]]:
    with shared_path("planning-checks", "rcpsp_j301_1.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["duration"]]
    after: dict[int, list[After]] = {}
    for k, row in enumerate(rows):
        for name in row["successors"].split():
            after.setdefault(int(name) - 1, []).append(After(task=k))
    tasks = [
        Task(
            minutes=int(row["duration"]),
            needs={f"r{n}": int(row[f"r{n}"]) for n in range(1, 5) if row[f"r{n}"] != "0"},
            after=tuple(after.get(k, [])),
            job=k,
        )
        for k, row in enumerate(rows)
    ]
    return tasks, {"r1": 12, "r2": 13, "r3": 4, "r4": 12}


@pytest.mark.shared
@needs_solver
def test_the_job_shop_of_fisher_and_thompson_takes_55() -> None:
    found = timetable(job_shop(), {str(m): 1 for m in range(6)})
    assert found is not None and (found.finish, found.proven) == (55, True)  # Fisher and Thompson 1963, ft06 (read)


@pytest.mark.shared
@needs_solver
def test_the_project_j301_1_takes_43() -> None:
    tasks, room = project()
    found = timetable(tasks, room)
    assert found is not None and (found.finish, found.proven) == (43, True)  # PSPLIB; 43 from memory, data read
    free = timetable(tasks, dict.fromkeys(room, 1000))
    assert free is not None and free.finish == 38  # PSPLIB prints 38 without resource limits (read)


@pytest.mark.shared
def test_the_list_rule_is_safe_where_no_solver_is() -> None:
    tasks, room = project()
    found = timetable(tasks, room, use_solver=False)
    assert found is not None and found.finish >= 43
    for minute in range(found.finish):
        running = [t for t, start in zip(tasks, found.starts, strict=True) if start <= minute < start + t.minutes]
        assert all(sum(t.needs.get(name, 0) for t in running) <= most for name, most in room.items())
    for task, start in zip(tasks, found.starts, strict=True):
        assert all(found.starts[link.task] + tasks[link.task].minutes <= start for link in task.after)


def test_a_task_that_needs_more_than_there_is_has_no_timetable() -> None:
    assert timetable([Task(minutes=5, needs={"hands": 3})], {"hands": 2}) is None


@pytest.mark.parametrize("use_solver", [False, pytest.param(True, marks=needs_solver)])
def test_a_station_is_cleaned_between_colour_families(use_solver: bool) -> None:
    tasks = [Task(minutes=10, needs={"slab": 1}, job=k, family=family) for k, family in enumerate("aba")]
    found = timetable(tasks, {"slab": 1}, clean={"slab": 7}, use_solver=use_solver)
    assert found is not None and found.finish == 37


@pytest.mark.skipif(not solver_there(), reason="needs ortools")
def test_jobs_alike_tied_to_others_are_not_put_in_order() -> None:
    """Given two jobs alike of which only the second holds another up, when scheduled, then the second may go first."""
    one = Task(minutes=10, needs={"kettle": 1}, job=0)
    two = Task(minutes=10, needs={"kettle": 1}, job=1)
    waits = Task(minutes=30, needs={"bench": 1}, after=(After(task=1),), job=2)
    found = timetable([one, two, waits], {"kettle": 1, "bench": 1}, use_solver=True)
    assert found is not None and (found.finish, found.starts[:2]) == (40, (10, 0))


@pytest.mark.skipif(not solver_there(), reason="needs ortools")
def test_jobs_alike_begin_in_the_order_of_their_numbers() -> None:
    """Given four batches alike, when scheduled, then the finish is that of one after the other at the narrow station and none goes ahead."""
    tasks = []
    for job in range(4):
        tasks.append(Task(minutes=20, needs={"kettle": 1}, job=job))
        tasks.append(Task(minutes=30, needs={"slab": 1}, after=(After(task=len(tasks) - 1, most_wait=5),), job=job))
    found = timetable(tasks, {"kettle": 2, "slab": 1}, use_solver=True)
    assert found is not None and found.proven and found.finish == 20 + 4 * 30
    assert list(found.starts[::2]) == sorted(found.starts[::2])
