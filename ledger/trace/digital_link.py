"""GS1 keys written as URNs turned into web addresses, and web addresses that hold GS1 keys brought to one form.

The event hash of the Core Business Vocabulary 2.0 wants every GS1 key in the one form ``https://id.gs1.org/01/{GTIN}/10/{lot}``,
whichever way a partner wrote it. Source: GS1 Digital Link standard and EPC Tag Data Standard (from memory), proved on
the published hash values of the event-hash reference documents.
"""

from __future__ import annotations

import re
from urllib.parse import quote, unquote

from ledger.trace.gs1 import check_digit

BASE = "https://id.gs1.org/"

PRIMARY = ("00", "01", "253", "255", "401", "402", "414", "417", "8003", "8004", "8006", "8010", "8017", "8018")
QUALIFIERS = ("10", "21", "22", "235", "254", "8011", "7040", "8020")
SHORT_NAMES = {
    "gtin": "01", "itip": "8006", "cpi": "8010", "gln": "414", "party": "417", "gsrnp": "8017", "gsrn": "8018",
    "gcn": "255", "sscc": "00", "gdti": "253", "ginc": "401", "gsin": "402", "grai": "8003", "giai": "8004",
    "cpv": "22", "lot": "10", "ser": "21", "cpsn": "8011", "glnx": "254",
}  # fmt: skip

_URN = re.compile(r"urn:epc:(id|class|idpat):([a-z]+):(.+)")


def canonical_uri(uri: str) -> str:
    """The GS1 key in ``uri`` in its one canonical form; any other URI comes back as it was."""
    found = _URN.fullmatch(uri)
    if found:
        return _from_urn(found[2], found[3]) or uri
    if uri.startswith(("http://", "https://")):
        return _from_web(uri) or uri
    return uri


def _key(prefix: str, rest: str) -> str:
    """``prefix`` + ``rest`` + their check digit."""
    return prefix + rest + str(check_digit(prefix + rest))


def _gtin(company: str, item: str) -> str:
    return _key(item[0] + company, item[1:])


def _text(value: str) -> str:
    """Percent-encode as the reference values do: everything but letters, digits and ``-._~'``."""
    return quote(unquote(value), safe="'")


def _from_urn(scheme: str, body: str) -> str | None:
    parts = body.split(
        ".", 4 if scheme == "itip" else (1 if scheme in ("giai", "gsrn", "gsrnp", "ginc", "gsin", "sscc") else 2)
    )
    if len(parts) < 2:
        return None
    company, ref, *rest = parts
    last = rest[-1] if rest else ""
    serial = "" if last == "*" else _text(last)
    if scheme in ("sgtin", "upui", "lgtin"):
        qualifier = {"sgtin": "21", "upui": "235", "lgtin": "10"}[scheme]
        return f"{BASE}01/{_gtin(company, ref)}" + (f"/{qualifier}/{serial}" if serial else "")
    if scheme == "itip" and len(rest) == 3:
        return f"{BASE}8006/{_gtin(company, ref)}{rest[0]}{rest[1]}" + (f"/21/{serial}" if serial else "")
    if scheme == "sscc":
        return f"{BASE}00/{_key(ref[0] + company, ref[1:])}"
    if scheme == "sgln":
        return f"{BASE}414/{_key(company, ref)}" + (f"/254/{serial}" if serial not in ("", "0") else "")
    if scheme == "pgln":
        return f"{BASE}417/{_key(company, ref)}"
    if scheme == "grai":
        return f"{BASE}8003/0{_key(company, ref)}{serial}"
    if scheme == "gdti":
        return f"{BASE}253/{_key(company, ref)}{serial}"
    if scheme == "sgcn":
        return f"{BASE}255/{_key(company, ref)}{serial}"
    if scheme == "cpi":
        return f"{BASE}8010/{company}{_text(ref)}" + (f"/8011/{serial}" if serial else "")
    simple = {"giai": "8004", "ginc": "401"}
    if scheme in simple:
        return f"{BASE}{simple[scheme]}/{company}{_text(ref)}"
    numbered = {"gsrn": "8018", "gsrnp": "8017", "gsin": "402"}
    if scheme in numbered:
        return f"{BASE}{numbered[scheme]}/{_key(company, ref)}"
    return None


def _from_web(uri: str) -> str | None:
    """Keep the GS1 key of an address on any domain; drop the domain, a leading path and the query."""
    path = re.split(r"[?#]", uri.split("://", 1)[1], maxsplit=1)[0].split("/")[1:]
    path = [SHORT_NAMES.get(part, part) if n % 2 == 0 else part for n, part in enumerate(path)]
    for start in range(len(path) - 1):
        if path[start] in PRIMARY and re.fullmatch(r"\d.*", unquote(path[start + 1])):
            pairs = list(zip(path[start::2], path[start + 1 :: 2], strict=False))
            if all(ai in QUALIFIERS for ai, _ in pairs[1:]):
                value = pairs[0][1]
                key = value.zfill(14) if pairs[0][0] == "01" else value
                return BASE + "/".join([f"{pairs[0][0]}/{key}", *(f"{ai}/{_text(v)}" for ai, v in pairs[1:])])
    return None
