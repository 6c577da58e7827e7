"""The two codes on a label, as grids of dark and light modules: a QR code with a short address, a GS1 DataMatrix.

The QR code opens the lot's page on any phone. It is written in capitals, because capitals fit the code's alphanumeric
mode and make it one size smaller. The GS1 DataMatrix is for shops that have a GTIN and customers who scan one; it
needs the extra ``pip install 'slabbook[labels]'``.

Sources: ISO/IEC 18004 (QR code), ISO/IEC 16022 (Data Matrix), GS1 General Specifications (element strings).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import segno

from ledger.errors import BadInput
from ledger.trace.gs1 import checked_lot

QR_QUIET = 4
DATAMATRIX_QUIET = 1
ALPHANUMERIC = re.compile(r"[0-9A-Z $%*+\-./:]+")


@dataclass(frozen=True, slots=True)
class Grid:
    """A code as rows of modules (True = dark) without its quiet zone, and how many light modules must surround it."""

    rows: tuple[tuple[bool, ...], ...]
    quiet: int
    kind: str
    text: str

    @property
    def size(self) -> int:
        """Modules along one side, quiet zone included."""
        return len(self.rows) + 2 * self.quiet


def lot_address(base: str, lot: str) -> str:
    """The address in the QR code: ``HTTPS://SHOP.EXAMPLE/L/26102A``, all capitals.

    Host names know no case, and the service reads ``/L/…`` in capitals, so nothing is lost.

    Raises:
        BadInput: a base or lot with signs that the alphanumeric mode cannot hold (``_``, ``?``, ``~``, accents ...).
    """
    address = f"{base.rstrip('/')}/L/{checked_lot(lot)}".upper()
    if not ALPHANUMERIC.fullmatch(address):
        odd = sorted(set(re.sub(ALPHANUMERIC, "", address)))
        raise BadInput(
            f"The address {address} holds {' '.join(odd)}, which a small QR code cannot; use letters, digits, '-' "
            f"and '.'.",
            value=address,
        )
    return address


def qr_grid(text: str) -> Grid:
    """A QR code of level M (15 % may be smudged), in the smallest size that holds the text."""
    code = segno.make_qr(text, error="m", boost_error=False)
    return Grid(tuple(tuple(bool(v) for v in row) for row in code.matrix), QR_QUIET, "QR", text)


def datamatrix_grid(pairs: Sequence[tuple[str, str]]) -> Grid:
    """A square GS1 DataMatrix of these identifiers and contents.

    Raises:
        BadInput: the package for it is missing, or a content breaks its identifier's rules (check digit, date, length).
    """
    try:
        import zint
    except ImportError as error:
        raise BadInput("A GS1 DataMatrix needs: pip install 'slabbook[labels]'", package="zint-bindings") from error
    symbol = zint.Symbol()
    symbol.symbology = zint.Symbology.DATAMATRIX
    symbol.input_mode = zint.InputMode.GS1
    symbol.warn_level = zint.WarningLevel.FAIL_ALL  # otherwise a wrong check digit or month 13 is only a warning
    symbol.option_3 = int(zint.DataMatrixOptions.SQUARE)
    text = "".join(f"[{ai}]{content}" for ai, content in pairs)
    try:
        symbol.encode(text)
    except Exception as error:
        raise BadInput(f"{text} cannot be a GS1 DataMatrix: {error}.", value=text) from error
    data, size = symbol.encoded_data, symbol.width
    rows = tuple(tuple(bool(data[y, x // 8] >> (x % 8) & 1) for x in range(size)) for y in range(symbol.rows))
    return Grid(rows, DATAMATRIX_QUIET, "GS1 DataMatrix", text)
