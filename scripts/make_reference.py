"""Write docs/reference.md, docs/findings.md and the faults of docs/sound.md from the code; --check compares."""

from __future__ import annotations

import inspect
import sys
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from linkwright.cli import COMMANDS, build
from linkwright.plan.findings import CODES
from linkwright.plan.model import Plan
from linkwright.shoot.models import Shoot
from linkwright.sound.kinds import KINDS

DOCS = Path(__file__).resolve().parents[1] / "docs"


def reference() -> str:
    """The page of the two files and the commands."""
    parts = [
        "# Reference: the files and the commands",
        "Made by `make table` from the models that read and write the files; a test compares. "
        "Units are in the names. In a shoot file people write MHz; in a plan a frequency is a whole number of kHz.",
        "## shoot.toml",
        *_models(Shoot, "the file"),
        "A shoot without `[[call]]` is one call over all links on the first site. A link without `at` is received "
        "at the site's first spot; without `route` the talent walks through all other spots; on a site without "
        "spots the talent is taken to be 30 m away. Others without times are always on.",
        "## plan.json",
        *_models(Plan, "the file"),
        PROMISES,
        "## Commands",
        *_commands(),
        "Every command takes `--json`: one JSON document on standard output and nothing else; an error is "
        '`{"error": "..."}` there and a sentence on standard error. Exit status: 0 all is well, 1 something does '
        "not hold, 2 bad input, 130 stopped.",
    ]
    return "\n\n".join(parts) + "\n"


PROMISES = """What a plan promises, checked by a verifier that shares no code with the search:

- Carriers and spares lie on the link's raster, in what both ends tune, in what the permits allow.
- Every carrier and every spare of a call keeps the larger `spacing_khz` of the two types to every other.
- `criterion` is `clean` when no third-order product of distinct carriers in use (2A-B nearer than `im3_two`,
  A+B-C nearer than `im3_three`) falls on a carrier in use or on a spare, and none would fall on a carrier in use
  after any one link moved to its first spare. Otherwise it is `power`, and a finding says what was given up.
- `wanted_dbm` is the sum of the ledger's `db` under `wanted`; `noise_and_interference_dbm` the sum, in milliwatts,
  of its `dbm` under `noise` and `interference`; `margin_db = wanted - noise and interference - required`.
- `verdict` is `holds` from the shoot's `target`, `thin` from 0.99, `fails` below.
- The same shoot gives the same plan, byte for byte."""


def _models(top: type[BaseModel], called: str) -> Iterator[str]:
    """A heading and a table for each model that can be reached, the top one first."""
    seen: list[tuple[type[BaseModel], str]] = [(top, called)]
    for model, name in seen:
        about = inspect.getdoc(model) or ""
        rows = ["| field | value | meaning |", "| --- | --- | --- |"]
        for field_name, field in model.model_fields.items():
            key = field.alias or field_name
            rows.append(f"| `{key}` | {_value(field)} | {field.description} |")
            for inner in _inner(field.annotation):
                if inner not in [known for known, _ in seen]:
                    seen.append((inner, key))
        yield f"### {name} ({model.__name__})\n\n{about.splitlines()[0]}\n\n" + "\n".join(rows)


def _value(field: FieldInfo) -> str:
    shown = _type(field.annotation)
    if field.is_required():
        return shown
    default = field.get_default()
    if default in (None, (), {}) or isinstance(default, BaseModel):
        return f"{shown}, optional"
    return f"{shown}, default {default!r}".replace("'", "`")


def _type(annotation: Any) -> str:
    annotation = getattr(annotation, "in_file", annotation)
    origin, inside = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _type(inside[0])
    if origin is Literal:
        return " \\| ".join(f"`{choice}`" for choice in inside)
    if origin in (Union, types.UnionType):
        return " or ".join(_type(one) for one in inside if one is not type(None))
    if origin is tuple:
        return f"list of {_type(inside[0])}"
    if origin is dict:
        return f"tables of {_type(inside[1])} by name"
    names = {"float": "number", "int": "whole number", "str": "text", "bool": "true or false"}
    name = str(annotation.__name__)
    return names.get(name, name)


def _inner(annotation: Any) -> Iterator[type[BaseModel]]:
    annotation = getattr(annotation, "in_file", annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) is not Literal:
        for get_arg in get_args(annotation):
            yield from _inner(get_arg)


def _commands() -> Iterator[str]:
    group = build()
    rows = ["| command | does | options |", "| --- | --- | --- |"]
    for name, (_, short) in COMMANDS.items():
        command = group.get_command(None, name)
        given = [
            p.name.upper() if p.required else f"[{p.name.upper()}]"
            for p in command.params
            if p.param_type_name == "argument"
        ]
        options = [
            f"`{'`, `'.join(option.opts)}` {option.help}"
            for option in command.params
            if option.param_type_name == "option" and "--help" not in option.opts
        ]
        rows.append(f"| `linkwright {' '.join([name, *given])}` | {short} | {'; '.join(options)} |")
    yield "\n".join(rows)


def findings() -> str:
    """The page of the finding codes."""
    rows = ["| code | severity | means | do |", "| --- | --- | --- | --- |"]
    rows += [f"| `{name}` | {code.severity} | {code.means} | {code.do} |" for name, code in CODES.items()]
    about = (
        "# Findings\n\nMade by `make table` from `linkwright.plan.findings`. `stop`: do not transmit, or it will "
        "not work; `warn`: look before you rely on it; `note`: good to know. A finding may be graver or milder "
        "than its code's usual severity where it says so.\n\n"
    )
    return about + "\n".join(rows) + "\n"


FAULTS_BEGIN, FAULTS_END = "<!-- faults: made by `make table` -->", "<!-- faults: end -->"


def with_faults(page: str) -> str:
    """The page of sound with the table of the kinds of faults anew."""
    rows = ["| kind | certain | what is looked for | what to do |", "| --- | --- | --- | --- |"]
    rows += [f"| {kind.name} | {kind.sure or 'never'} | {kind.looks} | {kind.do} |" for kind in KINDS.values()]
    before, _, rest = page.partition(FAULTS_BEGIN)
    after = rest.partition(FAULTS_END)[2]
    return before + "\n".join((FAULTS_BEGIN, *rows, FAULTS_END)) + after


def main() -> int:
    """Write the pages; with --check compare and return 1 where one is out of date."""
    stale = []
    sound = (DOCS / "sound.md").read_text("utf-8")
    pages = (("reference.md", reference()), ("findings.md", findings()), ("sound.md", with_faults(sound)))
    for name, text in pages:
        path = DOCS / name
        if "--check" in sys.argv[1:]:
            if not path.is_file() or path.read_text("utf-8") != text:
                stale.append(name)
        else:
            path.write_text(text, encoding="utf-8")
    if stale:
        print(f"out of date: {', '.join(stale)}; run make table")
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
