"""What processes that have one store open hand each other, and no store keeps: readings and sweeps as they come.

On PostgreSQL it goes by NOTIFY, which takes little at a time: in parts, all in one transaction, so that those of
two processes do not mix. A part that is missed as the line was lost spoils its whole, and nothing else.
"""

from __future__ import annotations

import base64
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

#: How the words begin that carry parts.
RELAY: Final = "relay"
#: A notice holds just under 8000 bytes, the name of the schema among them.
PART: Final = 7_500
#: The most that one process hands over at once [bytes].
MOST_BYTES: Final = 64 * 1024 * 1024


def words_of(me: str, kind: str, data: bytes) -> Iterator[str]:
    """What a process hands over, as words without spaces; how many more come stands in each."""
    text = base64.b85encode(zlib.compress(data, 1)).decode()
    for at in range(0, len(text), PART):
        yield f"{RELAY}:{me}:{kind}:{(len(text) - 1) // PART - at // PART}:{text[at : at + PART]}"


@dataclass
class Handed:
    """What the words of processes other than `me` come to."""

    me: str
    _parts: dict[str, tuple[int, list[str]]] = field(default_factory=dict)

    def hear(self, word: str) -> tuple[str, bytes] | None:
        """The kind and the whole of what was handed over, as its last part comes."""
        relay, who, kind, left, part = [*word.split(":", 4), "", "", "", ""][:5]
        if relay != RELAY or who == self.me or not left.isdecimal():
            return None
        more, (due, before) = int(left), self._parts.pop(who, (0, []))
        parts = [*(before if more == due - 1 else ()), part]  # else a part was missed, and another whole begins
        if more:
            self._parts[who] = more, parts
            return None
        try:
            return kind, zlib.decompressobj().decompress(base64.b85decode("".join(parts)), MOST_BYTES)
        except (ValueError, zlib.error):
            return None
