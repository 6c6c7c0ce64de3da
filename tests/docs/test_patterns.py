"""Patterns that read strangers' bytes are linear: no repeat in which two repeats of the same characters meet.

In `(?:[0-9]+[.]?[0-9]* )+` a number may be cut in two at any digit, so a line that does not match in the end is
tried in exponentially many ways: one line of a sweep stopped everything. Looked for in the parsed patterns, not by
the clock.
"""

from __future__ import annotations

import importlib
import pkgutil
import re
from collections.abc import Iterator
from re import _constants as sre
from re import _parser
from typing import Any

import pytest

import linkwright

REPEATS = (sre.MAX_REPEAT, sre.MIN_REPEAT)


def patterns() -> Iterator[tuple[str, re.Pattern[Any]]]:
    """Every compiled pattern that a module of the house holds, alone or in tables."""
    for module in pkgutil.walk_packages(linkwright.__path__, "linkwright."):
        if ".migrations" in module.name or module.name.endswith("__main__"):
            continue
        for name, value in vars(importlib.import_module(module.name)).items():
            for pattern in _within(value, 3):
                yield f"{module.name}.{name}", pattern


def _within(value: Any, deep: int) -> Iterator[re.Pattern[Any]]:
    if isinstance(value, re.Pattern):
        yield value
    elif deep and isinstance(value, dict):
        for inner in value.values():
            yield from _within(inner, deep - 1)
    elif deep and isinstance(value, list | tuple):
        for inner in value:
            yield from _within(inner, deep - 1)
    elif deep and hasattr(value, "line") and isinstance(getattr(value, "line", None), re.Pattern):
        yield value.line


def characters(item: Any) -> frozenset[int]:
    """The characters, of the first 256, that an item of one character may be; none where it is something longer."""
    op, argument = item
    text = "".join(map(chr, range(256)))
    if op is sre.LITERAL:
        return frozenset({argument})
    if op in (sre.ANY, sre.NOT_LITERAL):
        return frozenset(range(256)) - ({argument} if op is sre.NOT_LITERAL else set())
    if op is not sre.IN:
        return frozenset()
    allowed: set[int] = set()
    inverted = False
    for kind, what in argument:
        if kind is sre.NEGATE:
            inverted = True
        elif kind is sre.LITERAL:
            allowed.add(what)
        elif kind is sre.RANGE:
            allowed |= set(range(what[0], what[1] + 1))
        elif kind is sre.CATEGORY:
            word = {"DIGIT": r"\d", "SPACE": r"\s", "WORD": r"\w"}[str(what).rsplit("_", 1)[-1]]
            matched = {n for n, char in enumerate(text) if re.match(word, char, re.ASCII)}
            allowed |= set(range(256)) - matched if "NOT" in str(what) else matched
    return frozenset(set(range(256)) - allowed if inverted else allowed)


def ambiguous(items: Any, repeated: bool = False) -> bool:
    """Whether, inside a repeat, two repeats of characters in common stand side by side, or with only what may be
    absent between them."""
    open_: list[frozenset[int]] = []
    for op, argument in items:
        if op in REPEATS:
            low, high, body = argument
            many = high > 1
            single = characters(body[0]) if len(body) == 1 else frozenset()
            if repeated and many and single and any(single & before for before in open_):
                return True
            if ambiguous(body, repeated or many):
                return True
            if many and single:
                open_ = [*(open_ if low == 0 else []), single]
            elif low > 0:
                open_ = []
        elif op is sre.SUBPATTERN:
            if ambiguous(argument[3], repeated):
                return True
            open_ = []
        elif op is sre.BRANCH:
            if any(ambiguous(branch, repeated) for branch in argument[1]):
                return True
            open_ = []
        elif op is not sre.AT:
            open_ = []
    return False


def test_the_check_sees_what_hurt() -> None:
    assert ambiguous(_parser.parse(r"(?:\d+\.?\d* )+"))
    assert ambiguous(_parser.parse(r"(?:a*a*)+"))
    assert not ambiguous(_parser.parse(r"(?:\d+(?:\.\d*)? )+"))
    assert not ambiguous(_parser.parse(r"\d+\.?\d*"))


@pytest.mark.parametrize(("where", "pattern"), [pytest.param(*one, id=one[0]) for one in patterns()])
def test_no_pattern_tries_the_same_characters_twice(where: str, pattern: re.Pattern[Any]) -> None:
    assert not ambiguous(_parser.parse(pattern.pattern, pattern.flags & ~re.UNICODE)), where
