"""Makes the plans of the invented shop anew with the product itself, each from the ledger as it stands on that Monday: `python -m seeds.shop.make_plans`."""

from __future__ import annotations

import json
import sys
import tempfile
from datetime import date
from typing import Any

import msgspec

from ledger.application import season_adopt, season_plan
from ledger.application.season_settings import settings_for
from ledger.domain.season.commands import AdoptPlan
from seeds.shop import season
from seeds.shop.fill import fill
from seeds.shop.recorder import at
from seeds.shop.world import World


def make_and_keep(world: World, day: date) -> AdoptPlan:
    """Make the plan of this day from the ledger as it stands and write its file."""
    recorder = world.recorder
    before, recorder.now = recorder.now, max(recorder.now, at(day, season.HOUR, recorder.zone))
    made = season_plan.make(recorder.ledger, settings_for(recorder.ledger, weeks=season.MOMENTS[day]))
    command = season_adopt.command_of(recorder.ledger, made)
    recorder.now = before
    season.PLACE.mkdir(exist_ok=True)
    text = json.dumps(msgspec.to_builtins(command), indent=1, ensure_ascii=True)
    (season.PLACE / f"{day.isoformat()}.json").write_text(text + "\n", "utf-8")
    print(
        f"{day}: {command.plan}, {len(command.lines)} lines, cost {command.cost}, {made.plan.method}", file=sys.stderr
    )
    return command


def main() -> None:
    """Fill the shop, planning on each of its Mondays, and write the plans."""
    with tempfile.TemporaryDirectory() as place:
        history: dict[str, Any] = season.HISTORY
        fill(f"sqlite:///{place}/shop.sqlite", **history, plans=make_and_keep)


if __name__ == "__main__":
    main()
