"""The plan as text: JSON that a person can read, the same bytes for the same plan."""

from __future__ import annotations

import json
from typing import Final

from pydantic import ValidationError

from linkwright.plan.model import Plan
from linkwright.shoot.errors import InputError


def write_plan(plan: Plan) -> str:
    """The plan as JSON text, ending in a line feed. Fields that say nothing are left out, `bound` never."""
    document = plan.model_dump(mode="json", exclude_none=True)
    for call, shown in zip(plan.calls, document["calls"], strict=True):
        shown["bound"] = call.bound
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


#: What plans of the first kind are called, and what they say nothing of.
FIRST: Final = "linkwright-plan/1"
UNSAID: Final = {"fading_db": 0.0, "doubt_db": 0.0, "in_hand_db": 0.0, "sure": 0.0, "breaks_per_hour_90": 0.0}


def parse_kept(text: str, name: str) -> Plan:
    """An earlier plan to keep to; one of the first kind too, of whose links only carriers, spares and powers count.

    Raises InputError.
    """
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        return parse_plan(text, name)
    if not isinstance(document, dict) or document.get("format") != FIRST:
        return parse_plan(text, name)
    calls = document.get("calls")
    for call in calls if isinstance(calls, list) else []:
        links = call.get("links") if isinstance(call, dict) else None
        for link in links if isinstance(links, list) else []:
            if isinstance(link, dict):
                link.update({key: link.get(key, value) for key, value in UNSAID.items()})
    return parse_plan(json.dumps({**document, "format": Plan.model_fields["format"].default}), name)


def parse_plan(text: str, name: str) -> Plan:
    """The plan in a JSON text; `name` is the file as messages call it. Raises InputError."""
    if FIRST in text[:200]:
        raise InputError(
            "is a plan of an earlier version, which says nothing of what is in hand; plan again, "
            "with --keep to stay on its carriers",
            path=name,
        )
    try:
        return Plan.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ", ".join(str(part) for part in first["loc"]) or "the file"
        raise InputError(
            f"is not a plan of this program: {where}: {first['msg'][:1].lower()}{first['msg'][1:]}", path=name
        ) from None
