"""The one kind of error that a person is meant to read.

Everything that comes from outside (a shoot, a sweep, a plan to keep, an option) is refused with an
`InputError`: one sentence that says where, what was found and what was expected. The command line prints
it and leaves with status 2; anything else that escapes is a bug.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence


class InputError(Exception):
    """Input that cannot be used, as one sentence for the person who gave it.

    Parameters
    ----------
    says : what was found and what was expected, as one sentence.
    path : the file it came from, as the person named it; None where there is no file.
    line : the line in that file, from 1; None where it cannot be told.
    """

    def __init__(self, says: str, *, path: str | None = None, line: int | None = None) -> None:
        self.says = says
        self.path = path
        self.line = line
        super().__init__(str(self))

    def __str__(self) -> str:
        if self.path is None:
            return self.says
        where = self.path if self.line is None else f"{self.path}, line {self.line}"
        return f"{where}: {self.says}"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that is most like `word`, or None where none is like it at all."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return close[0] if close else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """'; did you mean "..."?' for the nearest known word, or '' where none is near."""
    near = nearest(word, known)
    return f'; did you mean "{near}"?' if near else ""


def raise_if_none(good: object, errors: Sequence[InputError]) -> None:
    """Raise what is wrong with the files of a batch where none of them is good. Raises InputError(s)."""
    if not good:
        raise_all(errors)


def raise_all(errors: Sequence[InputError]) -> None:
    """Raise what is wrong, if anything is. Raises InputError(s)."""
    if errors:
        raise errors[0] if len(errors) == 1 else InputErrors(errors)


class InputErrors(InputError):
    """Several things wrong with one input, each a sentence on a line of its own."""

    def __init__(self, errors: Iterable[InputError]) -> None:
        self.errors = tuple(errors)
        super().__init__("\n".join(str(error) for error in self.errors))
