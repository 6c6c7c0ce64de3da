"""Write the table of docs/house.md: how large the house is and what in it is hard to read; `--print`: a row alone.

python scripts/make_house_table.py            # today's row beneath the earlier ones
"""

from __future__ import annotations

import argparse
import ast
import datetime
import re
import statistics
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parent.parent
TABLE: Final = ROOT / "docs" / "house.md"
LONG_LINES: Final = 40
MANY_PARAMETERS: Final = 7

Function = ast.FunctionDef | ast.AsyncFunctionDef


def functions(tree: ast.Module) -> Iterator[Function]:
    """Every function and method."""
    return (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def lines_of(function: Function) -> int:
    """How many lines a function has, without its docstring."""
    said = ast.get_docstring(function, clean=False)
    return (function.end_lineno or 0) - function.lineno + 1 - (said.count("\n") + 1 if said else 0)


def parameters_of(function: Function) -> int:
    """How many it takes, besides `self` and `cls`."""
    given = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    return len([one for one in given if one.arg not in ("self", "cls")])


def measured(root: Path = ROOT) -> dict[str, str]:
    """The columns of a row."""
    modules = {path: path.read_text("utf-8") for path in sorted((root / "src").rglob("*.py"))}
    trees = [ast.parse(text) for text in modules.values()]
    every = [function for tree in trees for function in functions(tree)]
    lengths = [lines_of(function) for function in every]
    classes = Counter(node.name for tree in trees for node in ast.walk(tree) if isinstance(node, ast.ClassDef))
    code = sum(text.count("\n") for text in modules.values())
    tests = sum(path.read_text("utf-8").count("\n") for path in (root / "tests").rglob("*.py"))
    text = "\n".join(modules.values())
    return {
        "modules": str(len(modules)),
        "lines": str(code),
        "median of functions": f"{statistics.median(lengths):.0f}",
        "90 % of functions": f"{statistics.quantiles(lengths, n=10)[-1]:.0f}",
        f"over {LONG_LINES} lines": str(sum(length > LONG_LINES for length in lengths)),
        f"over {MANY_PARAMETERS} parameters": str(sum(parameters_of(one) > MANY_PARAMETERS for one in every)),
        "`one`, `found`": ", ".join(str(len(re.findall(rf"\b{word}\b", text))) for word in ("one", "found")),
        "class names twice": str(sum(count > 1 for count in classes.values())),
        "`dict[str, Any]`": str(text.count("dict[str, Any]")),
        "formatter off": str(text.count("# fmt: ")),
        "lines of test a line": f"{tests / code:.2f}",
    }


def main() -> None:
    """Print today's row, or write it."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--print", action="store_true")
    asked.add_argument("--root", type=Path, default=ROOT)
    given = asked.parse_args()
    row = {"when": f"{datetime.datetime.now(datetime.UTC):%d %b %Y}", **measured(given.root)}
    line = f"| {' | '.join(row.values())} |\n"
    if given.print:
        print(line, end="")
        return
    text = TABLE.read_text("utf-8").rstrip("\n") + "\n"
    TABLE.write_text(text + line, "utf-8")


if __name__ == "__main__":
    main()
