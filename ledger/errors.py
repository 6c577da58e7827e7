"""The whole tree of errors a user of Slabbook can meet.

Every error has a permanent ``code`` (documented in ``docs/reference/errors.md``), keeps its facts as attributes, and its
message names the value, the limit and the way out.

::

    SlabbookError
    ├── BadInput            what was typed cannot be read (wrong unit, not a number, missing field)
    ├── Refused             read well, but it cannot be so on this floor (rule of the domain)
    │   ├── UnknownThing    a lot, batch, recipe, worker... that the ledger does not know
    │   ├── NotEnough       more is taken out than is there
    │   └── StepsInTheWay   a correction that later steps stand on
    ├── Conflict            somebody else wrote first, or a command id came back with other content
    └── LedgerDamaged       the stored ledger contradicts itself (hash, position, balance)
"""

from __future__ import annotations

from typing import Any


class SlabbookError(Exception):
    """Anything Slabbook refuses; ``code`` is permanent, ``facts`` are the figures behind the message."""

    code = "slabbook.error"

    def __init__(self, message: str, **facts: Any) -> None:
        super().__init__(message)
        self.message = message
        self.facts = facts

    def __getattr__(self, name: str) -> Any:
        facts = self.__dict__.get("facts", {})
        if name in facts:
            return facts[name]
        raise AttributeError(name)

    def __reduce__(self) -> Any:
        return (_rebuild, (type(self), self.message, self.facts))


def _rebuild(kind: type[SlabbookError], message: str, facts: dict[str, Any]) -> SlabbookError:
    return kind(message, **facts)


class BadInput(SlabbookError):
    """What was typed cannot be read: a wrong unit, not a number, a missing field."""

    code = "input.bad"


class Refused(SlabbookError):
    """The entry was read well, but it cannot be so: a rule of the floor says no."""

    code = "rule.refused"


class UnknownThing(Refused):
    """A lot, batch, recipe, worker or station that this ledger does not know."""

    code = "rule.unknown"


class NotEnough(Refused):
    """More would leave a lot than is in it."""

    code = "rule.not-enough"


class StepsInTheWay(Refused):
    """A correction cannot be made while later steps stand on what it would take away."""

    code = "rule.steps-in-the-way"


class Conflict(SlabbookError):
    """Somebody else wrote first, or a command id came back with other content."""

    code = "store.conflict"


class LedgerDamaged(SlabbookError):
    """The stored ledger contradicts itself: a hash, a position or a balance does not agree."""

    code = "store.damaged"
