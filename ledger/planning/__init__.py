"""Season planning: what the shop can make, when to start, and why something will be short. Pure: no clock, no database.

Front: :func:`make_plan`, :func:`replan`, :func:`check_plan`.
"""

from ledger.planning.plan import Plan
from ledger.planning.problem import Batches, Item, Kettle, Load, Opening, Prices, Problem, Season, ShowTime, Week
from ledger.planning.season import NORMAL, QUICK, THOROUGH, Effort, Progress, check_plan, make_plan, replan

__all__ = [
    "NORMAL",
    "QUICK",
    "THOROUGH",
    "Batches",
    "Effort",
    "Item",
    "Kettle",
    "Load",
    "Opening",
    "Plan",
    "Prices",
    "Problem",
    "Progress",
    "Season",
    "ShowTime",
    "Week",
    "check_plan",
    "make_plan",
    "replan",
]
