"""Reading a shoot: TOML in, checked values out, or sentences that say what is wrong and where."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Literal, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError

from linkwright.shoot.catalogue import as_frozen
from linkwright.shoot.checks import ShootProblem, problems_of
from linkwright.shoot.errors import InputError, InputErrors, did_you_mean
from linkwright.shoot.learnt import Learnt
from linkwright.shoot.locate import Loc, line_of
from linkwright.shoot.models import Shoot
from linkwright.shoot.old_keys import renamed_sentences, with_new_names
from linkwright.shoot.regular import open_regular
from linkwright.shoot.toml import parse_toml

Whole = TypeVar("Whole", bound=BaseModel)
#: An event of 20 000 links in 20 000 calls has about 12 MB; more than this is some other file.
MOST_BYTES = 32 * 1024 * 1024
#: What a walk taught has some twenty lines.
MOST_LEARNT_BYTES = 64 * 1024
#: How many mistakes are told at once.
MOST_PROBLEMS = 10


def read_shoot(path: Path, name: str | None = None) -> Shoot:
    """The shoot in the file `path`, called `name` in messages.

    Raises InputError (InputErrors for several) with file, line, key, what was found and what was expected.
    """
    name = name if name is not None else str(path)
    return with_learnt(parse_shoot(read_text(path, name, MOST_BYTES), name), path.parent)


def with_learnt(shoot: Shoot, folder: Path) -> Shoot:
    """The shoot with what its sites' walk tests taught, read from the files that they name. Raises InputError."""
    if not any(site.measured for site in shoot.site):
        return shoot
    sites = []
    for site in shoot.site:
        if site.measured is not None:
            text = read_text(folder / site.measured, site.measured, MOST_LEARNT_BYTES)
            site = site.model_copy(update={"learnt": parse_learnt(text, site.measured)})
        sites.append(site)
    return shoot.model_copy(update={"site": tuple(sites)})


def parse_learnt(text: str, name: str) -> Learnt:
    """What a walk test taught, from the text of the file that `walk` wrote. Raises InputError."""
    try:
        return Learnt.model_validate(as_frozen(parse_toml(text, name)))
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        says = f"is not what a walk test taught: {key + ': ' if key else ''}{_plain(first['msg'])}"
        raise InputError(_on_one_line(says), path=name) from None
    except (RecursionError, ValueError, OverflowError):
        raise InputError("is not TOML that a walk test could be", path=name) from None


def read_text(path: Path, name: str, most_bytes: int) -> str:
    """The text of a small UTF-8 file. Raises InputError where it cannot be read as one."""
    try:
        with open_regular(path, name) as file:
            data = file.read(most_bytes + 1)
        if len(data) > most_bytes:
            raise InputError(f"has more than {most_bytes} bytes; expected a text file of at most that", path=name)
        return decoded(data, name)
    except FileNotFoundError:
        raise InputError("there is no such file", path=name) from None
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read: {why}", path=name) from None


def decoded(data: bytes, name: str) -> str:
    """The text of a file in UTF-8, or in UTF-16 as some editors and spreadsheets write it. Raises InputError."""
    encoding = "utf-16" if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        raise InputError(f"is not UTF-8 text (byte {error.start}); expected a text file", path=name) from None


def parse_shoot(text: str, name: str) -> Shoot:
    """The shoot in a TOML text; `name` is the file as messages call it. Raises InputError."""
    return shoot_from(parse_document(text, name), text, name)


def parse_document(text: str, name: str) -> dict[str, Any]:
    """The document in a TOML text, whole shoot or not, in today's names. Raises InputError where it is no TOML."""
    return with_new_names(parse_toml(text, name))


def shoot_from(document: dict[str, Any], text: str, name: str) -> Shoot:
    """The shoot in a parsed TOML document. Raises InputError(s)."""
    shoot, problems = judge(document)
    if shoot is None or problems:
        raise errors_of(problems, text, name) from None
    return shoot


def parse_part(text: str, name: str, *, without_links: bool = False) -> Shoot:
    """The shoot in a TOML text that is a part of an event; the event's own may have no links yet. Raises
    InputError(s)."""
    shoot, problems = problems_with(Shoot, parse_document(text, name))
    if shoot is not None:
        may_lack = without_links and not shoot.link
        problems = [problem for problem in problems_of(shoot) if not (may_lack and problem.loc == ("shoot",))]
    if shoot is None or problems:
        raise errors_of(problems, text, name) from None
    return shoot


def judge(document: dict[str, Any]) -> tuple[Shoot | None, list[ShootProblem]]:
    """The shoot in a parsed document, or None; and all that is wrong with it, or that it still lacks."""
    shoot, problems = problems_with(Shoot, with_new_names(document))
    return shoot, problems if shoot is None else list(problems_of(shoot))


def problems_with(model: type[Whole], document: dict[str, Any]) -> tuple[Whole | None, list[ShootProblem]]:
    """A parsed document as a model of a whole file, or None and why it is none."""
    try:
        return model.model_validate(as_frozen(document)), []
    except ValidationError as error:
        return None, [_problem(detail, document, model) for detail in _causes(error.errors())]
    except (RecursionError, OverflowError):
        return None, [ShootProblem((), "holds a value that no file could: nested too deep or too large")]


def older_names(text: str, name: str) -> list[str]:
    """Sentences on keys that were read though they have another name today. Raises InputError for no TOML."""
    return [f"{name}: {sentence}" for sentence in renamed_sentences(parse_toml(text, name))]


def errors_of(problems: Sequence[ShootProblem], text: str, name: str) -> InputError:
    """What is wrong with a file as one error, each with its line where that can be told."""
    told = [
        InputError(_on_one_line(p.says), path=name, line=line_of(text, p.loc)) for p in problems[:MOST_PROBLEMS]
    ]
    if len(problems) > MOST_PROBLEMS:
        told.append(InputError(f"and {len(problems) - MOST_PROBLEMS} more problems", path=name))
    return told[0] if len(told) == 1 else InputErrors(told)


def _causes(details: Sequence[Any]) -> list[Any]:
    """The findings that are not mere consequences: a list whose entries are wrong also counts as too short."""
    wrong = {tuple(d["loc"])[:depth] for d in details for depth in range(len(d["loc"]))}
    return [d for d in details if d["type"] != "too_short" or tuple(d["loc"]) not in wrong]


def _on_one_line(says: str) -> str:
    """A sentence that quotes the file, without line breaks and without what a terminal would take for orders."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in says)


def _problem(detail: Any, document: dict[str, Any], model: type[BaseModel]) -> ShootProblem:
    """One finding of pydantic as a sentence in the words of the file."""
    loc: Loc = tuple(detail["loc"])
    where = _where(loc, document)
    kind, given, context = detail["type"], detail["input"], detail.get("ctx", {})
    if kind == "extra_forbidden":
        known = _known_keys(loc[:-1], model)
        near = did_you_mean(str(loc[-1]), known) or f"; known are {', '.join(known)}"
        return ShootProblem(loc, f"{_where(loc[:-1], document)} has an unknown key {_show(str(loc[-1]))}{near}")
    if kind == "missing" and isinstance(loc[-1], int):
        where = _where(loc[:-1], document)
        return ShootProblem(loc[:-1], f"{where} is {_show(given)}; expected at least {loc[-1] + 1} entries")
    if kind == "missing":
        return ShootProblem(loc[:-1], f'{_where(loc[:-1], document)} lacks "{loc[-1]}"')
    if kind == "lacks":
        return ShootProblem(loc, f'{where} lacks "{context["key"]}"')
    if kind == "value_error" and isinstance(given, str):
        return ShootProblem(loc, f"{where} is {_show(given)}; {context.get('error', detail['msg'])}")
    if kind == "value_error":
        return ShootProblem(loc, f"{where}: {context.get('error', detail['msg'])}")
    if kind == "literal_error":
        near = did_you_mean(given, re.findall(r"'([^']*)'", context["expected"])) if isinstance(given, str) else ""
        return ShootProblem(
            loc, f"{where} is {_show(given)}; expected {context['expected'].replace(chr(39), chr(34))}{near}"
        )
    meant = _meant(kind, loc, given)
    if meant:
        return ShootProblem(loc, f"{where} is {_show(given)}; {meant}")
    expected = _EXPECTED.get(kind) or _plain(detail["msg"])
    return ShootProblem(loc, f"{where} is {_show(given)}; expected {expected.format(**context)}")


def _meant(kind: str, loc: Loc, given: Any) -> str:
    """What to write instead, where it can be seen what is meant."""
    if kind == "tuple_type" and isinstance(given, dict) and len(loc) == 1:
        return f"there may be several: write [[{loc[0]}]]"
    in_mhz = any(isinstance(key, str) and key.endswith("_mhz") for key in loc)
    if kind == "less_than_equal" and in_mhz and given / 1e3 <= 1e4:
        return f"write MHz: {given / 1e3:g}"
    return ""


_EXPECTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "tuple_type": "a list in brackets [ ]",
    "dict_type": "a table",
    "model_type": "a table",
    "datetime_type": "a date and a time with its offset such as 2027-05-14T08:10:00+01:00, without quotes",
    "date_type": "a date such as 2027-05-14, without quotes",
    "time_type": "a time such as 08:30:00, without quotes",
    "finite_number": "a finite number",
    "greater_than": "more than {gt}",
    "greater_than_equal": "{ge} or more",
    "less_than": "less than {lt}",
    "less_than_equal": "{le} or less",
    "too_short": "a list of at least {min_length}",
    "too_long": "a list of at most {max_length}",
    "string_too_short": "at least {min_length} character",
    "string_too_long": "at most {max_length} characters",
}


def _plain(message: str) -> str:
    message = message.removeprefix("Input should be ").removeprefix("Value error, ")
    return (message[:1].lower() + message[1:]).replace("{", "{{").replace("}", "}}")


def _show(given: Any) -> str:
    if isinstance(given, str):
        return f'"{given}"' if len(given) <= 60 else f'"{given[:57]}..."'
    if isinstance(given, dict):
        return "a table"
    if isinstance(given, list | tuple):
        shown = f"[{', '.join(_show(entry) for entry in given[:20])}]"
        return "a list" if len(shown) > 60 else shown
    if isinstance(given, int) and given.bit_length() > 200:
        return f"a number of {given.bit_length()} bits"  # Python refuses to write out the longest
    shown = str(given).lower() if isinstance(given, bool) else str(given)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


def _where(loc: Loc, document: Any) -> str:
    """The place as a person names it: link "Pilot", route."""
    parts: list[str] = []
    value = document
    for key in loc:
        try:
            value = value[key]
        except (KeyError, IndexError, TypeError):
            value = None
        if isinstance(key, int) and parts:
            named = value.get("name") if isinstance(value, dict) else None
            parts[-1] += f" {_show(named)}" if isinstance(named, str) else f" {key + 1}"
        else:
            parts.append(str(key))
    return ", ".join(parts) if parts else "the shoot"


def _known_keys(loc: Loc, whole: type[BaseModel]) -> list[str]:
    """The keys that the table at `loc` of a file may have."""
    models: list[type[BaseModel]] = [whole]
    for key in loc:
        if isinstance(key, int):
            continue
        following = [inner for model in models for inner in _models_in(_annotation(model, key))]
        models = following or models
    return sorted({field.alias or name for model in models for name, field in model.model_fields.items()})


def _annotation(model: type[BaseModel], key: str) -> Any:
    for name, field in model.model_fields.items():
        if key in (name, field.alias):
            return field.annotation
    return None


def _models_in(annotation: Any) -> Iterable[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) is not Literal:
        for inner in get_args(annotation):
            yield from _models_in(inner)
