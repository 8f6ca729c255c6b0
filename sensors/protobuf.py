"""The Protocol Buffers wire format, as far as a message of unknown origin is read field by field.

Source of the format: Protocol Buffers documentation, "Encoding" (tags, varints, wire types 0, 1, 2 and 5).
Groups (wire types 3 and 4) are deprecated there and refused here.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

VARINT, FIXED64, LENGTH, FIXED32 = 0, 1, 2, 5
LONGEST_VARINT = 10
MOST_FIELD = 2**29 - 1  # the greatest field number


def fields(data: bytes) -> Iterator[tuple[int, int | bytes]]:
    """Give (field number, value) in order: an unsigned integer for a varint, else the bytes as they stand.

    Raises ValueError where the bytes are no such message.
    """
    at, end = 0, len(data)
    while at < end:
        tag, at = _varint(data, at)
        number, kind = tag >> 3, tag & 7
        if not 0 < number <= MOST_FIELD:
            raise ValueError("a field number out of range")
        if kind == VARINT:
            value, at = _varint(data, at)
            yield number, value
            continue
        if kind == LENGTH:
            size, at = _varint(data, at)
        elif kind in (FIXED32, FIXED64):
            size = 4 if kind == FIXED32 else 8
        else:
            raise ValueError(f"wire type {kind}")
        if size > end - at:
            raise ValueError("a field longer than the message")
        yield number, data[at : at + size]
        at += size


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for shift in range(LONGEST_VARINT):
        if at + shift >= len(data):
            raise ValueError("a number that is cut off")
        byte = data[at + shift]
        value |= (byte & 0x7F) << (7 * shift)
        if byte < 0x80:
            return value & (2**64 - 1), at + shift + 1
    raise ValueError("a number of more than ten bytes")


def integer(value: int | bytes) -> int:
    """Return a varint's value; raises ValueError when the field is of another kind."""
    if isinstance(value, bytes):
        raise ValueError("bytes where a number belongs")
    return value


def octets(value: int | bytes, size: int | None = None) -> bytes:
    """Return a field's bytes, ``size`` of them; raises ValueError when it is a number or of another size."""
    if isinstance(value, int) or (size is not None and len(value) != size):
        raise ValueError("a field of the wrong kind")
    return value


def text(value: int | bytes) -> str:
    """Return a string field; raises ValueError (UnicodeDecodeError) when it is none."""
    return octets(value).decode("utf-8")


def double(value: int | bytes) -> float:
    """Return a 64-bit float; raises ValueError when the field is of another kind."""
    return float(struct.unpack("<d", octets(value, 8))[0])


def single(value: int | bytes) -> float:
    """Return a 32-bit float as the shortest decimal that is this very float: 18.4, not 18.399999618530273."""
    raw = octets(value, 4)
    exact = float(struct.unpack("<f", raw)[0])
    for digits in range(6, 9):
        try:
            shorter = float(f"{exact:.{digits}g}")
            if struct.pack("<f", shorter) == raw:
                return shorter
        except OverflowError:  # rounded beyond the greatest 32-bit float
            continue
    return exact
