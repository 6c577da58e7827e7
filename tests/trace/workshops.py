"""Random workshops for the property tests: lots made from lots, with real parcels of sugar kept apart inside each
lot."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import strategies as st

from ledger.trace.graph import Edge, Lot, LotGraph


@dataclass
class Workshop:
    """Rows as the ledger would hold them, and beside them what really lay in each lot (origin of each milligram)."""

    lots: list[Lot] = field(default_factory=list)
    edges: list[Edge] = field(default_factory=list)
    truth: dict[str, list[tuple[str, ...]]] = field(default_factory=dict)

    @property
    def graph(self) -> LotGraph:
        return LotGraph.build(self.lots, self.edges)


@st.composite
def workshops(draw: st.DrawFn, max_lots: int = 12) -> Workshop:
    """A random history. Each lot is a list of single milligrams; each milligram remembers every lot it passed through.

    Portions and losses take arbitrary milligrams (not an even mix), so any outcome that could happen on a slab can
    happen here.
    """
    shop = Workshop()
    left: dict[str, list[tuple[str, ...]]] = {}
    n_sources = draw(st.integers(1, 4))
    for i in range(n_sources):
        name = f"S{i}"
        mass = draw(st.integers(1, 12))
        shop.lots.append(Lot(name, "material", made_mg=mass))
        shop.truth[name] = [(name,)] * mass
        left[name] = list(shop.truth[name])
    for i in range(draw(st.integers(1, max_lots - n_sources))):
        name = f"L{i}"
        parents = [lot for lot, rest in left.items() if rest]
        if not parents:
            break
        contents: list[tuple[str, ...]] = []
        for _ in range(draw(st.integers(1, 3))):
            parents = [lot for lot in parents if left[lot]]
            if not parents:
                break
            parent = draw(st.sampled_from(parents))
            take = draw(st.integers(1, len(left[parent])))
            left[parent] = draw(st.permutations(left[parent]))
            portion, left[parent] = left[parent][:take], left[parent][take:]
            shop.edges.append(Edge(parent, name, take, step="step", day="2026-01-01"))
            contents += portion
        lost = draw(st.integers(0, len(contents) - 1))
        contents = draw(st.permutations(contents))[lost:]
        contents = [(*origin, name) for origin in contents]
        shop.lots.append(Lot(name, "mass", made_mg=len(contents)))
        shop.truth[name] = contents
        left[name] = list(contents)
    return shop
