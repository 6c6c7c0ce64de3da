"""How functions are written, where CONTRIBUTING has a rule that a machine can hold them to."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from scripts.make_house_table import LONG_LINES, MANY_PARAMETERS, Function, functions, lines_of, parameters_of

ROOT = Path(__file__).parents[2]


def every_function() -> Iterator[tuple[str, list[str], Function]]:
    """Each with where it stands and the lines of its module."""
    for path in sorted((ROOT / "src").rglob("*.py")):
        text = path.read_text("utf-8")
        for function in functions(ast.parse(text)):
            yield f"{path.relative_to(ROOT)}:{function.lineno} {function.name}", text.splitlines(), function


def test_what_is_long_or_wide_says_why() -> None:
    """A line above it: `# long: ...`, `# wide: ...` or `# long and wide: ...`."""
    silent = []
    for where, lines, function in every_function():
        first = min([function.lineno, *(decorator.lineno for decorator in function.decorator_list)])
        above = lines[first - 2].strip()
        why = re.match(r"# (?P<what>wide and long|long and wide|wide|long): \w", above)
        has = set() if why is None else set(why["what"].split(" and "))
        is_so = {"long": lines_of(function) > LONG_LINES, "wide": parameters_of(function) > MANY_PARAMETERS}
        silent += [f"{where} is {what}" for what, holds in is_so.items() if holds and what not in has]
    assert silent == []


def test_parameters_are_told_in_one_way() -> None:
    """`name : what it is`, or `one, two : what they are`, as in the sections of numpydoc; never `name: `."""
    otherwise = []
    for where, _, function in every_function():
        given = function.args
        names = [each.arg for each in (*given.posonlyargs, *given.args, *given.kwonlyargs)]
        name = "|".join(map(re.escape, names)) or "(?!)"
        tight = rf"(?:^|[.;]\s+|\n\s+)((?:{name})(?:,\s+(?:{name})|\s+and\s+(?:{name})|\s+\([^()]*\))*): "
        otherwise += [
            f"{where}: {told}" for told in re.findall(tight, ast.get_docstring(function, clean=False) or "")
        ]
    assert otherwise == []
