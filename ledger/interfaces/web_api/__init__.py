"""The JSON API: commands in, questions out, for a tablet, a script or another program. `build_api` makes it."""

from ledger.interfaces.web_api.api import build_api

__all__ = ["build_api"]
