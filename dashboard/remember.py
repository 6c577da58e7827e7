"""Reports remembered by position: as long as nothing was recorded, every tablet that asks the same gets the same report at once.

What is kept is the query's result, never a page. A position is final, so what was worked out for it can only be right or unused.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock
from typing import Any

from ledger.application.ledger import Ledger
from ledger.application.reports_types import Report

MOST = 48
_kept: OrderedDict[tuple[Any, ...], Report] = OrderedDict()
_lock = Lock()


def remembered(make: Callable[..., Report], ledger: Ledger, *asked: Any) -> Report:
    """The report `make(ledger, *asked)` as the ledger and the calendar stand now. Raises what `make` raises, and keeps no error."""
    key = (id(ledger.store), ledger.queries.as_of(), ledger.today(), make.__name__, *asked)
    with _lock:
        found = _kept.get(key)
        if found is not None:
            _kept.move_to_end(key)
            return found
    report = make(ledger, *asked)
    with _lock:
        _kept[key] = report
        while len(_kept) > MOST:
            _kept.popitem(last=False)
    return report
