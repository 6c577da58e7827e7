"""One batch of the invented shop from the burner to the jar, with plausible masses, losses and times.

Shares lost are those of trade practice (no published source): kettle film and slab 0.8 to 1.8 % together, hook strings 0.2 to 0.5 %, ends
3 to 8 % of picture work and 1 to 2 % of plain, crumbs 0.6 to 1.5 %, off-picture 0.5 to 3 %. Times follow the recipe, the hands and practice:
unit n takes n ** log2(rate) of the first (Wright 1936), at a 95 % rate down to 80 %.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from ledger.domain.batch import commands as c
from ledger.domain.lots.commands import SampleLot
from ledger.domain.parts import Give, Loss, Take, Work
from seeds.shop.recorder import Recorder, at
from seeds.shop.settings import Line, Shop
from seeds.shop.shelf import PackLot, Shelf, StoreRoom

PPM = 1_000_000
LEARNING = math.log2(0.95)


@dataclass(slots=True)
class Reboil:
    """Clean ends of one flavour kept for a later cook."""

    lot: str
    left: int
    from_day: date


@dataclass(slots=True)
class Made:
    """What the generator remembers of a batch for later mishaps."""

    batch: str
    line: Line
    day: date
    cut: c.CutRods
    pack_lots: tuple[str, ...]
    missed_mg: int = 0


@dataclass(slots=True)
class Bench:
    """The making floor."""

    shop: Shop
    rng: random.Random
    recorder: Recorder
    shelf: Shelf
    store: StoreRoom
    made: list[Made] = field(default_factory=list)
    reboil: dict[str, list[Reboil]] = field(default_factory=dict)
    thermometer: dict[str, float] = field(default_factory=dict)
    practice: dict[str, int] = field(default_factory=dict)
    start_of: dict[str, date] = field(default_factory=dict)

    def make(
        self, line: Line, batch: str, kettle: str, day: date, hour: float, late_days: int, plan_line: str = ""
    ) -> Made:
        """Tell the recorder one whole batch. late_days: how long after it was made it is typed in. plan_line: the planned batch it is."""
        return _Making(self, line, batch, kettle, day, hour, late_days, plan_line).run()

    def forget_reboil(self, lots: list[str]) -> None:
        """Re-boil that was thrown away is not cooked again."""
        self.reboil = {line: [x for x in kept if x.lot not in lots] for line, kept in self.reboil.items()}

    def needs(self, line: Line) -> dict[str, int]:
        """Most a full kettle takes of each material, in mg, with a little over."""
        need: dict[str, int] = {}
        for x in line.recipe.lines:
            need[x.material] = need.get(x.material, 0) + x.mass_mg * 103 // 100
        return need


class _Making:
    def __init__(
        self, bench: Bench, line: Line, batch: str, kettle: str, day: date, hour: float, late_days: int, plan_line: str
    ) -> None:
        self.b, self.line, self.batch, self.kettle, self.day = bench, line, batch, kettle, day
        self.plan_line = plan_line
        self.rng, self.text = bench.rng, day.isoformat()
        self.clock = at(day, hour, bench.recorder.zone)
        self.late = at(day + timedelta(days=late_days), 17.6, bench.recorder.zone) if late_days else None
        self.scale = 1.0 if kettle == "K1" else 0.74
        count = bench.practice[line.id] = bench.practice.get(line.id, 0) + 1
        self.learnt = max(0.80, count**LEARNING)
        self.kind = line.design.kind

    def run(self) -> Made:
        opened = c.OpenBatch(
            day=self.text, flavour=self.line.id, design=self.line.design.id, batch=self.batch, plan_line=self.plan_line
        )
        self._tell(opened, "MK", 0)
        poured, wet = self._cook()
        rods = self._shape(poured)
        pieces_mg, count, cut, missed = self._cut(rods, wet)
        lots = self._pack(pieces_mg, count)
        self._tell(c.CloseBatch(day=self.text, batch=self.batch), "MK", 3)
        made = Made(self.batch, self.line, self.day, cut, lots, missed)
        self.b.made.append(made)
        return made

    # --- telling ----------------------------------------------------------------------------------------------------

    def _tell(self, command: object, actor: str, minutes: float, tag: str = "") -> None:
        began = self.clock
        self.clock = began + timedelta(minutes=minutes)
        typed = self.late or self.clock + timedelta(minutes=1)
        self.b.recorder.tell(command, actor, began, typed, tag)

    def _step(
        self,
        kind: type[c.StepCommand],
        name: str,
        station: str,
        crew: list[str],
        pause: float = 0,
        tag: str = "",
        **more: Any,
    ) -> c.StepCommand:
        plan = next(s for s in self.line.recipe.steps if s.step == name)
        speed = sum(self._speed(w) for w in crew) / len(crew)
        size = 0.6 + 0.4 * self.scale
        spread = min(1.5, max(0.75, self.rng.gauss(1, 0.08)))
        seconds = round(plan.seconds * plan.people / len(crew) * speed * self.learnt * size * spread / 60) * 60
        self.clock += timedelta(minutes=pause)
        began, ended = self.clock, self.clock + timedelta(seconds=seconds)
        command = kind(
            day=self.text, batch=self.batch, station=station, started=_moment(began), ended=_moment(ended),
            work=tuple(Work(worker=w, seconds=seconds) for w in crew), **more,
        )  # fmt: skip
        self._tell(command, crew[0], seconds / 60, tag)
        return command

    def _speed(self, worker: str) -> float:
        speed = float(self.b.shop.work["workers"][worker]["speed"])
        joined = self.b.start_of.get(worker)
        if joined is not None:
            weeks = max(0, (self.day - joined).days) / 7
            speed *= 1 + 0.35 * math.exp(-weeks / 12)
        return speed

    def _crew(self, *wanted: str) -> list[str]:
        here = [w for w in wanted if self.b.start_of.get(w, self.day) <= self.day]
        return here or ["MK"]

    # --- the steps --------------------------------------------------------------------------------------------------

    def _cook(self) -> tuple[int, float]:
        takes, solids, water = self._charge()
        charge = sum(t.mass_mg for t in takes) + water
        recipe = self.line.recipe
        bias = self.b.thermometer.get(self.kettle, 0.0)
        reading = recipe.end_temperature_mc / 1000 + self.rng.gauss(0, 3.5 if self.rng.random() < 0.03 else 1.0)
        true = reading - bias
        moisture = 0.0200 - 0.0014 * (true - recipe.end_temperature_mc / 1000) + self.rng.gauss(0, 0.0011)
        moisture = min(0.045, max(0.007, moisture))
        cooked = min(solids / (1 - moisture), charge * 0.98)
        wet = max(0.0, moisture - 0.025) / 0.01
        film = _round(cooked * self.rng.uniform(0.004, 0.009), 1_000)
        slab = _round(cooked * self.rng.uniform(0.004, 0.009) * (1 + 2 * wet), 1_000)
        pour = cooked - film - slab
        portions = self.b.shop.work["portions"].get(self.line.design.id)
        gives = []
        if portions:
            for name, p in portions.items():
                mass = _round(
                    pour * p["share"] * self.rng.gauss(1, 0.012 if name == next(iter(portions)) else 0.004), 10_000
                )
                gives.append(
                    Give(lot="", kind="mass", mass_mg=mass, portion=name, colour=p["colour"], entered=_kg(mass))
                )
            over = pour - sum(g.mass_mg for g in gives[:-1])
            gives[-1] = Give(
                lot="", kind="mass", mass_mg=_round(over, 10_000), portion=gives[-1].portion, colour=gives[-1].colour,
                entered=_kg(_round(over, 10_000)),
            )  # fmt: skip
        else:
            mass = _round(pour, 10_000)
            gives.append(
                Give(
                    lot="", kind="mass", mass_mg=mass, portion="all", colour=self.line.flavour.colour, entered=_kg(mass)
                )
            )
        shown = round(reading * 2) / 2
        self._step(
            c.Cook, "cook", self.kettle, self._crew("MK", "TB"), takes=tuple(takes), gives=tuple(gives), water_mg=water,
            losses=(Loss(cause="kettle film", mass_mg=film), Loss(cause="slab", mass_mg=slab)),
            end_temperature_mc=round(shown * 1000), end_temperature=f"{shown:g} C", tag=f"cook/{self.batch}",
        )  # fmt: skip
        return sum(g.mass_mg for g in gives), wet

    def _charge(self) -> tuple[list[Take], float, int]:
        book, takes, solids, sugar = self.b.shop.book, [], 0.0, 0
        from ledger.domain.books.entries import Material

        for x in self.line.recipe.lines:
            grain = 5_000 if x.mass_mg > 1_000_000 else 500 if x.mass_mg > 50_000 else 100
            mass = max(grain, _round(x.mass_mg * self.scale * self.rng.gauss(1, 0.003), grain))
            material = book.get(Material, x.material)
            portion = x.portion if x.portion in self.b.shop.work["portions"].get(self.line.design.id, {}) else ""
            for lot, part in self.b.store.take(x.material, mass, self.batch):
                takes.append(Take(lot=lot, mass_mg=part, portion=portion, entered=_kg(part)))
            solids += mass * material.solids_ppm / PPM
            sugar += mass if material.role == "sugar" else 0
        water = _round(sugar * self.rng.uniform(0.285, 0.315), 10_000)
        room = solids * 0.08
        for again in self.b.reboil.get(self.line.id, []):
            part = min(again.left, _round(room, 10_000)) if again.from_day <= self.day else 0
            if part >= 50_000:
                portions = self.b.shop.work["portions"].get(self.line.design.id, {})
                dark = [name for name, p in portions.items() if not p.get("pulled")]
                takes.append(Take(lot=again.lot, mass_mg=part, portion=dark[0] if dark else "", entered=_kg(part)))
                again.left -= part
                room -= part
                solids += part * 0.98
        self.b.reboil[self.line.id] = [x for x in self.b.reboil.get(self.line.id, []) if x.left]
        return takes, solids, water

    def _shape(self, poured: int) -> int:
        left, gone = poured, 0
        portions = self.b.shop.work["portions"].get(self.line.design.id)
        pulled = [n for n, p in enumerate(portions.values(), 1) if p.get("pulled")] if portions else [1]
        for n in pulled:
            share = list(portions.values())[n - 1]["share"] if portions else 1.0
            gone = _round(poured * share * self.rng.uniform(0.002, 0.006), 1_000)
            self._step(c.Pull, "pull", "HOOK", self._crew("TB", "JO"), takes=(Take(lot=f"{self.batch}-C{n}", basis="all"),),
                       losses=(Loss(cause="hook strings", mass_mg=gone),))  # fmt: skip
            left -= gone
        log = self.line.design.log_um
        area = math.pi / 4 * (log / 1e4) ** 2
        length = round(left / 1000 / 1.38 / area * 1e4 / 1000) * 1000
        crew = self._crew("MK", "TB", "JO") if self.kind == "picture" else self._crew("MK", "TB")
        self._step(c.Build, "build", "SLAB", crew, pause=4, diameter_um=log, length_um=length)
        self._step(c.Roll, "roll", "BELT", self._crew("TB", "JO", "SA"), diameter_um=self.line.design.rod_um)
        return left

    def _cut(self, rods: int, wet: float) -> tuple[int, int, c.CutRods, int]:
        rng, count = self.rng, self.b.practice[self.line.id]
        fresh = 1 + 0.7 * math.exp(-count / 6)
        picture = self.kind == "picture"
        ends = (
            rng.uniform(0.030, 0.062) * fresh
            if picture
            else rng.uniform(0.014, 0.026)
            if self.kind == "striped"
            else rng.uniform(0.008, 0.018)
        )
        crumbs = rng.uniform(0.006, 0.014)
        bad = (
            rng.uniform(0.005, 0.022) * fresh
            if picture
            else rng.uniform(0.002, 0.010)
            if self.kind == "striped"
            else 0.0
        )
        if picture and rng.random() < 0.025:
            bad += rng.uniform(0.03, 0.08)
        stuck = 0.055 * wet * rng.uniform(0.7, 1.5)
        bad *= 1 + 1.2 * wet

        def part(share: float) -> int:
            return _round(rods * share, 5_000)

        keep = 0 if self.line.acid else part(ends * rng.uniform(0.45, 0.75))
        found = [
            ("ends", part(ends) - keep),
            ("crumbs", part(crumbs)),
            ("picture", part(bad)),
            ("sticking", part(stuck)),
        ]
        losses = tuple(Loss(cause=name, mass_mg=mass) for name, mass in found if mass > 0)
        gap = rods * (rng.gauss(0.0025, 0.0025) if rng.random() > 0.012 else rng.uniform(0.02, 0.035))
        sound = _round(rods - keep - sum(x.mass_mg for x in losses) - gap, 5_000)
        missed = 0
        if rng.random() < 0.02 and losses and losses[0].mass_mg > rods // 50:
            missed, losses = losses[0].mass_mg, losses[1:]
        piece = self.line.design.piece_mg * rng.gauss(1.0, 0.018)
        pieces = max(1, round(sound / piece))
        gives = [Give(lot="", kind="pieces", mass_mg=sound, pieces=pieces, entered=_kg(sound))]
        if keep >= 20_000:
            gives.append(Give(lot="", kind="reboil", mass_mg=keep, entered=_kg(keep)))
            from_day = (self.late.date() if self.late else self.day) + timedelta(days=1)
            self.b.reboil.setdefault(self.line.id, []).append(Reboil(f"{self.batch}-B1", keep, from_day))
        command = self._step(
            c.CutRods, "cut", "BLOCK", self._crew("SA", "JO"), gives=tuple(gives), losses=losses, piece_um=self.line.design.piece_um,
            tag=f"cut/{self.batch}",
        )  # fmt: skip
        assert isinstance(command, c.CutRods)
        return sound, pieces, command, missed

    def _pack(self, pieces_mg: int, count: int) -> tuple[str, ...]:
        left, lots = pieces_mg, []
        if self.rng.random() < 0.35:
            taste = self.rng.randint(6, 14)
            sample = SampleLot(
                day=self.text, lot=f"{self.batch}-K1", pieces=taste, purpose=self.rng.choice(("tasting", "retained"))
            )
            self._tell(sample, "MK", 1)
            left -= pieces_mg * taste // count
        self.clock += timedelta(minutes=30)
        for number, pack in enumerate(reversed(self.line.packs), 1):
            last = number == len(self.line.packs)
            mass = left if last else left * 34 // 100
            fill = pack.net_mg * self.rng.uniform(1.004, 1.016)
            packs = int(mass / fill)
            dust = _round(mass * self.rng.uniform(0.0005, 0.002), 1_000)
            take = (
                Take(lot=f"{self.batch}-K1", basis="all")
                if last
                else Take(lot=f"{self.batch}-K1", mass_mg=_round(packs * fill + dust, 5_000))
            )
            self._step(c.PackUp, "pack", "BENCH", self._crew("SA", "JO"), pack=pack.id, packs=packs, takes=(take,),
                       losses=(Loss(cause="crumbs", mass_mg=dust),), tag=f"pack/{self.batch}-J{number}")  # fmt: skip
            left -= take.mass_mg
            lot = f"{self.batch}-J{number}"
            lots.append(lot)
            known = (self.late.date() if self.late else self.day) + timedelta(days=1)
            best = (self.day + timedelta(days=pack.best_before_days)).isoformat()
            self.b.shelf.put(PackLot(lot, pack.id, packs, packs, best, known))
        return tuple(lots)


def _round(value: float, grain: int) -> int:
    return round(value / grain) * grain


def _kg(mass_mg: int) -> str:
    return f"{mass_mg / 1e6:g} kg" if mass_mg >= 1_000_000 else f"{mass_mg / 1e3:g} g"


def _moment(when: datetime) -> str:
    return when.isoformat(timespec="minutes")
