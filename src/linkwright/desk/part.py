"""The part of a long list that is looked at: of an event nobody reads all, and no page builds it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Generic, TypeVar

T = TypeVar("T")
U = TypeVar("U")

#: Of a long list so many are shown at once.
SHOWN: Final = 100


@dataclass(frozen=True, slots=True)
class Part(Generic[T]):
    """Some of a list: which is the first of how many that are called as was asked, how many the whole list has."""

    some: tuple[T, ...]
    first: int
    count: int
    whole: int

    @property
    def large(self) -> bool:
        """Whether there is more than is shown."""
        return self.whole > len(self.some)

    @property
    def begins(self) -> range:
        """Where its parts begin."""
        return range(0, self.count, SHOWN)

    @property
    def says(self) -> str:
        """How many of how many."""
        if not self.count:
            return f"Nothing of {self.whole} rows is called so."
        of = "" if self.count == self.whole else f" that are called so, of {self.whole}"
        return f"Rows {self.first + 1} to {min(self.first + SHOWN, self.count)} of {self.count}{of}."

    def each(self, work: Callable[[T], U]) -> Part[U]:
        """The same part of what is made of each."""
        return Part(tuple(map(work, self.some)), self.first, self.count, self.whole)


def part_of(every: Sequence[T], called: Callable[[T], str], find: str = "", first: int = 0) -> Part[T]:
    """What is `called` by every word of `find`, from one of them on."""
    words = find.casefold().split()
    wanted = [some for some in every if has_words(called(some), words)] if words else every
    first = first if 0 <= first < len(wanted) else 0
    return Part(tuple(wanted[first : first + SHOWN]), first, len(wanted), len(every))


def has_words(called: str, words: Sequence[str]) -> bool:
    """Whether something is called by every one of some words."""
    called = called.casefold()
    return all(word in called for word in words)


@dataclass(frozen=True, slots=True)
class LookedFor:
    """Which part of several lists is shown: what is called so; from which on, by list; an entry that is to be among
    them, by its path."""

    find: str = ""
    firsts: Mapping[str, int] = field(default_factory=dict)
    go: tuple[str, ...] = ()

    def part(
        self, kind: str, every: Sequence[T], called: Callable[[T], str], id_of: Callable[[T], str] | None = None
    ) -> Part[T]:
        """The part of one of the lists; `id_of` is the last of an entry's path."""
        at = None
        if id_of is not None and self.go[:1] == (kind,):
            at = next((n for n, some in enumerate(every) if self.go[1:2] == (id_of(some),)), None)
        if at is not None:
            return part_of(every, called, first=at - at % SHOWN)
        return part_of(every, called, self.find, self.firsts.get(kind, 0))
