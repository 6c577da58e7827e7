"""How a table is fitted: words keep room, figures are never broken, what is too wide goes into another block."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from ledger.application.report_table import GAP, WORDS, layout
from ledger.application.reports_types import Column

WIDE = (
    Column("flavour", "flavour", "flavour"),
    *(Column(f"n{i}", f"a rather long head {i}\nkg", "mass") for i in range(9)),
)
TEXTS = [[c.title for c in WIDE], ["Blackcurrant and bay leaf"] + ["1 234.567"] * 9]


def test_words_keep_room_however_narrow_it_is() -> None:
    for block in layout(WIDE, TEXTS, 28):
        assert block[0] >= 16


def test_every_block_repeats_what_names_its_rows_and_every_figure_stands_once() -> None:
    blocks = layout(WIDE, TEXTS, 60)
    assert len(blocks) > 1 and all(0 in block for block in blocks)
    assert sorted(c for block in blocks for c in block if c) == list(range(1, 10))


@given(
    st.integers(45, 200),
    st.lists(st.tuples(st.sampled_from(["text", "mass", "count"]), st.integers(1, 14)), min_size=1, max_size=20),
)
def test_no_block_is_wider_than_the_terminal_and_no_figure_is_broken(width: int, shape: list[tuple[str, int]]) -> None:
    columns = [Column("name", "name", "text"), *(Column(f"c{i}", "x" * n, kind) for i, (kind, n) in enumerate(shape))]
    texts = [[c.title for c in columns], ["a name", *("9" * n for _, n in shape)]]
    for block in layout(columns, texts, width):
        assert sum(block.values()) + GAP * (len(block) - 1) <= width
        for number, room in block.items():
            if columns[number].kind not in WORDS:
                assert room >= len(texts[1][number])
