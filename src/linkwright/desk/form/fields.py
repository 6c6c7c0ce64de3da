"""The fields of a shoot as forms show them, made from the models: whatever the file can hold can be edited."""

from __future__ import annotations

import datetime
import functools
import types
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

import tomli_w
from pydantic import BaseModel

from linkwright.shoot.errors import InputError
from linkwright.shoot.toml import parse_toml

Kind = Literal[
    "text", "number", "whole", "choice", "yes", "date", "time", "moment", "words", "numbers", "ranges", "inline"
]

#: Units at the ends of names, as people read them.
UNITS: Final = {
    "_m_s": "m/s", "_mhz": "MHz", "_khz": "kHz", "_mw": "mW", "_dbm": "dBm", "_dba": "dB(A)",
    "_dbfs": "dBFS", "_dbu": "dBu", "_dbi": "dBi", "_db": "dB", "_mv_pa": "mV/Pa",
    "_hz": "Hz", "_ms": "ms", "_km": "km", "_m": "m", "_s": "s", "_mah": "mAh", "_v": "V",
    "_ma": "mA", "_c": "°C", "_min": "min", "_h": "h",
}  # fmt: skip
#: What a field holds that is empty and says nothing.
NOTHING: Final = None


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its key in the file, what people call it, its unit, how it is entered, what it means; and what
    counts where nothing is said."""

    key: str
    label: str
    unit: str
    kind: Kind
    help: str
    options: tuple[str, ...] = ()
    needed: bool = False
    usual: str = ""

    @property
    def title(self) -> str:
        """The label with its unit."""
        return f"{self.label}, {self.unit}" if self.unit else self.label


@functools.cache
def fields_of(model: type[BaseModel], without: frozenset[str] = frozenset()) -> tuple[Field, ...]:
    """The fields of a model in the order of the file, less some by key."""
    fields = []
    for name, info in model.model_fields.items():
        key = info.alias or name
        if key in without:
            continue
        kind, options = _kind(info.annotation)
        label, unit = _named(key)
        field = Field(key, label, unit, kind, info.description or "", options, info.is_required())
        default = None if info.is_required() else info.get_default(call_default_factory=True)
        plain = default is not None and not isinstance(default, BaseModel | Mapping) and default != ()
        fields.append(replace(field, usual=shown(field, default)) if plain else field)
    return tuple(fields)


#: What a field is called where its key in the file says it badly.
LABELS: Final = {
    "im3_two": "Room kept for products of two carriers", "im3_three": "Room kept for products of three carriers",
    "accepts": "Rows of the rules that were checked", "sure_wanted": "How sure a link is to be",
    "stay_db": "Kept carrier may cost", "cell_reserve": "Share of the cells not relied upon",
    "does": "What the talent does", "at": "Receiver stands at",
    "locked_mhz": "Carrier that stays", "locked_mw": "Power that stays",
    "learnt": "Learnt by walking", "edge_khz": "Keeps from a TV channel's edge",
    "look_s": "Looks at a frequency for",
    "use": "Starts from", "timezone": "Time zone", "tv": "TV channels on the air",
    "kit": "Equipment", "transmit": "Sending end", "route": "Way through the spots",
    "within_m": "Goes as far as", "links": "Who is on", "next_day": "Begins after midnight",
    "iip3_dbm": "Intercept point", "required_cnr_db": "Needed over noise and interference",
}  # fmt: skip


def _named(key: str) -> tuple[str, str]:
    ending, unit = next(((end, unit) for end, unit in UNITS.items() if key.endswith(end)), ("", ""))
    return LABELS.get(key) or _words(key.removesuffix(ending)), unit


def _words(key: str) -> str:
    text = key.replace("_", " ").strip()
    return text[:1].upper() + text[1:]


def _kind(annotation: Any) -> tuple[Kind, tuple[str, ...]]:
    """How a value of a type is entered."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _kind(get_args(annotation)[0])
    if origin in (Union, types.UnionType):
        inner = [get_arg for get_arg in get_args(annotation) if get_arg is not type(None)]
        return _kind(inner[0]) if len(inner) == 1 else ("inline", ())
    if origin is Literal:
        return "choice", tuple(str(option) for option in get_args(annotation))
    simple: dict[Any, Kind] = {
        bool: "yes", int: "whole", float: "number", str: "text", datetime.date: "date", datetime.time: "time",
        datetime.datetime: "moment",
    }  # fmt: skip
    if annotation in simple:
        return simple[annotation], ()
    if origin is tuple:
        first = get_args(annotation)[0]
        inside = _kind(first)[0]
        if [_kind(end)[0] for end in get_args(first) if end is not Ellipsis] == ["number", "number"]:
            return "ranges", ()
        if [_kind(get_arg)[0] for get_arg in get_args(annotation) if get_arg is not Ellipsis] == [
            "number",
            "number",
        ]:
            return "numbers", ()
        if len(get_args(annotation)) == 2 and get_args(annotation)[1] is Ellipsis:
            if inside == "text":
                return "words", ()
            if inside in ("number", "whole"):
                return "numbers", ()
    return "inline", ()


def shown(field: Field, value: Any) -> str:
    """A value as the field shows it; what was typed and is no such value is shown as it was typed."""
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value.removesuffix(":00") if field.kind == "time" and value.count(":") == 2 else value
    if isinstance(value, datetime.time):
        return value.strftime("%H:%M:%S" if value.second else "%H:%M")
    if isinstance(value, datetime.datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, int | float):
        return _number(value)
    plain = list(value) if isinstance(value, list | tuple) else value
    if field.kind == "ranges" and isinstance(plain, list) and all(_is_range(item) for item in plain):
        return ", ".join(f"{_number(low)}–{_number(high)}" for low, high in plain)
    if field.kind in ("words", "numbers") and isinstance(plain, list) and all(_is_simple(item) for item in plain):
        return ", ".join(item if isinstance(item, str) else _number(item) for item in plain)
    return inline(plain)


def _is_simple(value: Any) -> bool:
    return isinstance(value, int | float) or (isinstance(value, str) and "," not in value)


def _is_range(value: Any) -> bool:
    return (
        isinstance(value, list | tuple) and len(value) == 2 and all(isinstance(end, int | float) for end in value)
    )


def _number(value: float) -> str:
    return str(value) if isinstance(value, int) else f"{value:.10g}"


def inline(value: Any) -> str:
    """A list or a table as one line of TOML."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {inline(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(inline(inner) for inner in value) + "]"
    return tomli_w.dumps({"v": value}).removeprefix("v = ").strip()


def _key(key: str) -> str:
    return key if key.replace("_", "a").replace("-", "a").isalnum() else inline(key)


def entered(field: Field, text: str) -> Any:
    """What a person means by a text; the text itself where it is no value of the field's kind.

    Nothing that was typed is lost: a draft may hold what a shoot may not. None for an emptied field.
    """
    text = text.strip()
    if not text:
        return NOTHING
    try:
        return _ENTERED[field.kind](text)
    except (ValueError, InputError, RecursionError, KeyError):
        return text


def _decimal(text: str) -> float:
    value = float(text.replace("\N{MINUS SIGN}", "-").replace(",", ".") if text.count(",") == 1 else text)
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError(text)
    return value


def _whole(text: str) -> int | float:
    value = _decimal(text)
    return int(value) if value.is_integer() and abs(value) < 1e15 else value


def _a_time(text: str) -> datetime.time:
    return datetime.time.fromisoformat(text if ":" in text else f"{text}:00")


def _inline(text: str) -> Any:
    return parse_toml(f"v = {text}")["v"]


def _words_in(text: str) -> list[str]:
    if text.startswith("["):
        words = _inline(text)
        if not all(isinstance(word, str) for word in words):
            raise ValueError(text)
        return list(words)
    return [word for word in (word.strip() for word in text.replace(";", ",").split(",")) if word]


def _numbers_in(text: str) -> list[float]:
    if text.startswith("["):
        return [_whole(str(number)) for number in _inline(text)]
    parts = text.split(";") if ";" in text else text.split(",")
    return [_whole(part.strip()) for part in parts if part.strip()]


def _ranges_in(text: str) -> list[list[float]]:
    """Ranges as people write them, "470-608; 614-694"; a table of TOML as it is."""
    if text.startswith("["):
        return list(_inline(text))
    ranges = []
    for part in text.replace("\N{EN DASH}", "-").replace(";", ",").split(","):
        low, _, high = part.partition("-")
        ranges.append([float(low), float(high)])
    return ranges


_ENTERED: Final[dict[Kind, Any]] = {
    "text": str,
    "choice": str,
    "number": _decimal,
    "whole": _whole,
    "yes": lambda text: {"yes": True, "no": False, "true": True, "false": False, "1": True, "0": False}[
        text.lower()
    ],
    "date": datetime.date.fromisoformat,
    "time": _a_time,
    "moment": datetime.datetime.fromisoformat,
    "words": _words_in,
    "numbers": _numbers_in,
    "ranges": _ranges_in,
    "inline": _inline,
}
