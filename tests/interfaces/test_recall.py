"""A recall in the terminal: started once, followed by notes that move the stock, closed with its figures."""

from __future__ import annotations

from tests.interfaces.conftest import Terminal

JAR = "B1-J1"


def test_a_recall_runs_from_the_first_call_to_the_report_in_the_terminal(lived: Terminal) -> None:
    started = lived("recall", "start", JAR, "--reason", "smudged label")
    assert "telephone the local food authority first" in started.all and "74 on hand" in started.all
    again = lived("recall", "start", JAR, "--reason", "so says another")
    assert "is open at this lot already; nothing new was started" in again.all
    assert lived("recall", "list").out.count("OPEN") == 1
    lived("recall", "note", "called", "--customer", "GIFTS")
    lived("recall", "note", "returned", "--customer", "GIFTS", "--packs", "12", "--refund", "42.48")
    lived("recall", "note", "returned", "--lot", JAR, "--packs", "2", "--channel", "shop", "--refund", "11.80")
    lived("recall", "note", "counted", "--lot", JAR, "--packs", "87")
    lived("recall", "note", "destroyed", "--lot", JAR)
    status = lived("recall", "status").all
    assert "74 at the start + 14 came back - 87 destroyed - 1 not found = 0 on hand (packs)" in status
    assert "100 made, 0 on hand, 8 with customers" in status or "8 with customers" in status
    assert lived("verify").code == 0
    lived("recall", "close")
    report = lived("recall", "report", "R-2026-1")
    assert "1 pack cannot be placed" in report.all.replace("packs", "pack")


def test_what_cannot_be_noted_names_the_way_out(lived: Terminal) -> None:
    lived("recall", "start", JAR, "--reason", "smudged label")
    lived.refused("recall", "note", "counted", "--packs", "3", told=("Say which lot was counted",))
    lived.refused(
        "recall", "note", "counted", "--lot", JAR, told=("Say what was found of lot B1-J1", "Nothing found is 0")
    )
    lived.refused(
        "recall",
        "note",
        "returned",
        "--customer",
        "MILL",
        "--packs",
        "1",
        told=("no affected lot was delivered to MILL",),
    )
    lived.refused(
        "recall", "note", "returned", "--lot", JAR, "--packs", "27", told=("cannot come back", "74 are still here")
    )
    lived.refused(
        "recall",
        "start",
        JAR,
        "--drill",
        "--reason",
        "practice",
        told=("is open at lot B1-J1", "slabbook recall close"),
    )
