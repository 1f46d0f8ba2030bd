"""What a workbook of the old kind (.xls) holds, told from its records before it is opened.

Such a file is a small file system of sectors (MS-CFB); in it lies one stream of records (MS-XLS), each with
its kind, its length and its bytes. A text that many cells share stands once, among the shared texts.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

STARTS: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"

_STREAMS: Final = ("Workbook", "Book")  # of version 8, and of those before it
_LAST_SECTOR: Final = 0xFFFFFFFA  # greater numbers end a chain, or mark what is free
_TEXTS, _MORE, _SHEET = 0x00FC, 0x003C, 0x0809  # shared texts, their continuation, a sheet's begin
_HOLDS_SHARED: Final = 0x00FD
# A cell: row and column, then what it holds. Blank ones are left out by the reader.
_CELLS: Final = frozenset({0x0006, 0x0203, 0x0204, 0x0205, 0x027E, 0x007E, 0x00BD, _HOLDS_SHARED})
_SEVERAL: Final = 0x00BD  # numbers of several cells of a row, the last column at its end


@dataclass
class Held:
    """What the sheets hold: cells between the first and the last, and letters of shared texts."""

    reaches: list[tuple[int, int]] = field(default_factory=list)
    letters: int = 0


def held_by(raw: bytes) -> Held:
    """Count what an old workbook holds.

    Parameters
    ----------
    raw
        The file.

    Raises
    ------
    ValueError, struct.error, IndexError
        When it is damaged.
    """
    held, lengths = Held(), list[int]()
    texts: list[bytes] = []
    box: list[int] = []
    for kind, data in _records(_stream(raw)):
        if kind == _TEXTS or (kind == _MORE and texts):
            texts.append(data)
            continue
        if texts:
            lengths, texts = _lengths(texts), []
        if kind == _SHEET:
            _close(held, box)
            box = []
        elif kind in _CELLS and len(data) >= 6:
            row, column = struct.unpack_from("<HH", data)
            last = struct.unpack_from("<H", data, len(data) - 2)[0] if kind == _SEVERAL else column
            box = box or [row, column, row, last]
            box = [min(box[0], row), min(box[1], column), max(box[2], row), max(box[3], last)]
            if kind == _HOLDS_SHARED and len(data) >= 10:
                (text,) = struct.unpack_from("<I", data, 6)
                held.letters += lengths[text] if text < len(lengths) else 0
    _close(held, box)
    return held


def _close(held: Held, box: list[int]) -> None:
    if box:
        held.reaches.append((box[2] - box[0] + 1, box[3] - box[1] + 1))


def _stream(raw: bytes) -> bytes:
    """Put the sectors of the workbook's stream together; a small stream holds nothing large."""
    sectors = _Sectors(raw)
    folder = sectors.chain(struct.unpack_from("<I", raw, 48)[0])
    for at in range(0, len(folder) - 127, 128):
        letters = struct.unpack_from("<H", folder, at + 64)[0]
        name = folder[at : at + max(0, min(letters, 64) - 2)].decode("utf-16-le", "replace")
        if name in _STREAMS:
            return sectors.chain(struct.unpack_from("<I", folder, at + 116)[0])
    return b""  # another file of this kind, such as a locked workbook: the reader says so


class _Sectors:
    """The sectors of a file, and which follows which."""

    def __init__(self, raw: bytes) -> None:
        self.raw, self.size = raw, 1 << struct.unpack_from("<H", raw, 30)[0]
        if not 128 <= self.size <= 4096:
            raise ValueError("no such size of a sector")
        tables = list(struct.unpack_from("<109I", raw, 76))
        more = struct.unpack_from("<I", raw, 68)[0]
        for _ in range(len(raw) // self.size):
            if more > _LAST_SECTOR:
                break
            *further, more = self.numbers(more)
            tables += further
        self.following = [n for table in tables if table <= _LAST_SECTOR for n in self.numbers(table)]

    def sector(self, number: int) -> bytes:
        held = self.raw[(number + 1) * self.size : (number + 2) * self.size]
        if not held:
            raise ValueError("it is cut short")
        return held

    def numbers(self, number: int) -> tuple[int, ...]:
        return struct.unpack(f"<{self.size // 4}I", self.sector(number))

    def chain(self, number: int) -> bytes:
        held: list[bytes] = []
        while number <= _LAST_SECTOR:
            if len(held) > len(self.following):
                raise ValueError("its sectors go round in a ring")
            held.append(self.sector(number))
            number = self.following[number]
        return b"".join(held)


def _records(stream: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at + 4 <= len(stream):
        kind, length = struct.unpack_from("<HH", stream, at)
        yield kind, stream[at + 4 : at + 4 + length]
        at += 4 + length


def _lengths(parts: list[bytes]) -> list[int]:
    """Letters of each shared text; a text goes on in the next part, behind a sign of how it is written."""
    lengths: list[int] = []
    part, at = 0, 8
    while True:
        if at + 3 > len(parts[part]):
            part, at = part + 1, 0
            if part == len(parts):
                return lengths
            continue
        letters, flags = struct.unpack_from("<HB", parts[part], at)
        at += 3
        wide, beside = flags & 1, 0
        if flags & 8:  # runs of type, of four bytes each
            beside += 4 * struct.unpack_from("<H", parts[part], at)[0]
            at += 2
        if flags & 4:  # how it is spoken
            beside += struct.unpack_from("<I", parts[part], at)[0]
            at += 4
        lengths.append(letters)
        while letters:
            taken = min(letters, (len(parts[part]) - at) >> wide)
            at, letters = at + (taken << wide), letters - taken
            if letters:
                part, at = part + 1, 1
                if part == len(parts):
                    return lengths
                wide = parts[part][0] & 1
        while beside > len(parts[part]) - at:
            beside -= len(parts[part]) - at
            part, at = part + 1, 0
            if part == len(parts):
                return lengths
        at += beside
