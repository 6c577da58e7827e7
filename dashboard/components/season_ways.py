"""Which buttons of the Season page can do something now, and in words why one cannot."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.application.season_jobs import Desk


@dataclass(frozen=True, slots=True)
class Ways:
    """What can be done with the desk as it is.

    stop: work goes on that gives its best so far when it is stopped. make, adopt, tries: a plan can be made, adopted, a change tried. forget: a plan
    made here and not adopted can be taken off the desk.
    why: the reason why one of them cannot, as a sentence; empty where all can.
    """

    make: bool
    stop: bool
    adopt: bool
    tries: bool
    why: str
    forget: bool = False


def ways(desk: Desk) -> Ways:
    """What can be done now. Reading the ledger (`job.first`) holds up only adopting: a plan asked for meanwhile comes after it."""
    job = desk.job
    if job is not None and not job.first:
        return Ways(False, True, False, False, "While this goes on nothing else can be started: wait, or stop it.")
    if job is not None:
        return Ways(
            True,
            False,
            False,
            desk.base is not None,
            "What has sold and what is in the house is being read: some seconds.",
            desk.mine,
        )
    why = desk.why_not_adopted
    return Ways(True, False, not why, desk.base is not None, why, desk.mine)


__all__ = ["Ways", "ways"]
