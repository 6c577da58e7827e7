"""Events to stored text and back.

The payload is canonical JSON (RFC 8785), kept trivially so: ASCII keys, sorted; whole numbers, text, booleans, null,
lists and objects; no floats. Then plain sorted JSON without spaces *is* the canonical form, and an outsider can check a
row without our program.

Every field is stored, also one that equals its default: the row shall say what was known, not depend on what the
program of the day assumes. A field that is missing from an old row takes its default when read.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from typing import Any, NoReturn

import msgspec

from ledger.domain import all_events as _all_events  # noqa: F401  (fills the registry)
from ledger.domain import stored_names
from ledger.errors import BadInput, LedgerDamaged
from ledger.store.upcasters import lift

LARGEST = 2**53 - 1
"""RFC 8785 numbers are IEEE doubles; beyond this whole numbers would not survive."""

_encode = msgspec.json.Encoder(order="sorted").encode
_DIGITS = bytes(48 if 48 <= byte <= 57 else 32 for byte in range(256))
_LONG = b"0" * 16
_decoders: dict[type, msgspec.json.Decoder[Any]] = {}
_present: dict[tuple[str, int], Callable[[bytes | str], Any]] = {}
"""(name, present shape) -> what reads it: one look-up for nearly every row of a log."""
_loose: set[type] = set()
"""Classes with a field of any JSON value: what they hold is looked through each time, since the type says nothing."""


def encode(event: object) -> bytes:
    """The canonical JSON of an event.

    Raises BadInput if a field holds what its type does not allow (a float in a whole-number field, say) or a number
    beyond 2^53 - 1; KeyError for a class without a stored name.
    """
    cls = type(event)
    payload = _encode(event)
    try:
        decoder_for(cls).decode(payload)
    except msgspec.ValidationError as error:
        raise BadInput(
            f"{stored_names.name_of(cls)} cannot be stored: {error}", name=stored_names.name_of(cls)
        ) from error
    # sixteen digits in a row are looked for in a copy that has a nought for every digit: a tenth of a regex's time
    if cls in _loose or _LONG in payload.translate(_DIGITS) or not payload.isascii():
        require_canonical(msgspec.to_builtins(event, str_keys=True), stored_names.name_of(cls))
    return payload


def decode(name: str, schema: int, payload: bytes | str) -> Any:
    """The event a stored row means, lifted to the present shape if it was written in an older one.

    Raises LedgerDamaged for an unknown name, a shape newer than this program, or a payload that does not fit.
    """
    try:
        read = _present.get((name, schema))
        if read is not None:
            return read(payload)
        cls = _class_of(name)
        version = stored_names.version_of(cls)
        if schema == version:
            read = _present[name, schema] = decoder_for(cls).decode
            return read(payload)
        if schema > version:
            raise LedgerDamaged(
                f"an event {name} is stored in shape {schema}; this program reads up to shape {version}: update it",
                name=name,
                version=schema,
            )
        return msgspec.convert(lift(name, msgspec.json.decode(payload), schema, version), cls)
    except msgspec.MsgspecError as error:
        raise LedgerDamaged(
            f"an event {name} (shape {schema}) does not read: {error}", name=name, version=schema
        ) from error


def decoder_for(cls: type) -> msgspec.json.Decoder[Any]:
    """The one cached decoder of an event class; building it checks that the class can be stored exactly."""
    decoder = _decoders.get(cls)
    if decoder is None:
        if _require_exact_types(msgspec.inspect.type_info(cls), stored_names.name_of(cls)):
            _loose.add(cls)
        decoder = _decoders[cls] = msgspec.json.Decoder(cls)
    return decoder


def require_canonical(value: object, where: str) -> None:
    """Raise BadInput unless a JSON value is of the kind the ledger stores: see the top of this module.

    Text must also be in Unicode normal form C; the edge normalises what people type, this only makes sure.
    """
    match value:
        case None | bool():
            return
        case int():
            if abs(value) > LARGEST:
                raise BadInput(
                    f"{where}: {value} is beyond {LARGEST}, the largest whole number kept exactly", value=value
                )
        case str():
            if not value.isascii() and not unicodedata.is_normalized("NFC", value):
                raise BadInput(f"{where}: the text {value!r} is not in Unicode normal form C", value=value)
        case list() | tuple():
            for item in value:
                require_canonical(item, where)
        case dict():
            for key, item in value.items():
                if not isinstance(key, str) or not key.isascii():
                    raise BadInput(f"{where}: the key {key!r} is not plain ASCII; keep such text in a value", value=key)
                require_canonical(item, where)
        case _:
            raise BadInput(f"{where}: {value!r} is not a whole number, text, yes/no, list or object", value=value)


def _class_of(name: str) -> type:
    try:
        return stored_names.class_of(name)
    except KeyError:
        raise LedgerDamaged(
            f"the ledger holds an event named {name!r}, which this program does not know; it was written by another "
            "release, or the module of that event was not loaded",
            name=name,
        ) from None


def _require_exact_types(info: msgspec.inspect.Type, name: str) -> bool:
    """Refuse field types that canonical JSON cannot hold exactly (floats above all). Raises TypeError.

    True if some field takes any JSON value, so that each value must be looked at.
    """
    seen: set[type] = set()
    loose = False

    def walk(node: msgspec.inspect.Type, where: str) -> None:
        nonlocal loose
        match node:
            case msgspec.inspect.AnyType():
                loose = True
            case msgspec.inspect.DataclassType(cls=cls, fields=fields):
                if cls in seen:
                    return
                seen.add(cls)
                for field in fields:
                    if not field.encode_name.isascii():
                        _refuse(f"{where}.{field.encode_name}", "a name that is not ASCII")
                    walk(field.type, f"{where}.{field.name}")
            case msgspec.inspect.UnionType(types=types):
                for item in types:
                    walk(item, where)
            case msgspec.inspect.ListType(item_type=item) | msgspec.inspect.VarTupleType(item_type=item):
                walk(item, f"{where}[]")
            case msgspec.inspect.TupleType(item_types=items):
                for item in items:
                    walk(item, f"{where}[]")
            case msgspec.inspect.DictType(key_type=key, value_type=value):
                if not isinstance(key, msgspec.inspect.StrType):
                    _refuse(where, "keys that are not text")
                walk(value, f"{where}{{}}")
            case (
                msgspec.inspect.IntType()
                | msgspec.inspect.StrType()
                | msgspec.inspect.BoolType()
                | msgspec.inspect.NoneType()
                | msgspec.inspect.EnumType()
                | msgspec.inspect.LiteralType()
            ):
                return
            case _:
                _refuse(where, f"the type {type(node).__name__.removesuffix('Type').lower()}")

    walk(info, name)
    return loose


def _refuse(where: str, what: str) -> NoReturn:
    raise TypeError(f"{where} has {what}; events hold whole numbers, text, yes/no, lists and objects of those only")
