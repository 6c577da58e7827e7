"""The invented shop: a made-up harbour town's sugar works, told to a ledger day by day through commands. No real person, shop or brand."""

from seeds.shop.fill import fill

__all__ = ["fill"]
