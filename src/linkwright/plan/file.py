"""The plan as text: JSON that a person can read, the same bytes for the same plan."""

from __future__ import annotations

import json

from pydantic import ValidationError

from linkwright.plan.model import Plan
from linkwright.shoot.errors import InputError


def write_plan(plan: Plan) -> str:
    """The plan as JSON text, ending in a line feed. Fields that say nothing are left out, `bound` never."""
    document = plan.model_dump(mode="json", exclude_none=True)
    for call, shown in zip(plan.calls, document["calls"], strict=True):
        shown["bound"] = call.bound
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def parse_plan(text: str, name: str) -> Plan:
    """The plan in a JSON text; `name` is the file as messages call it. Raises InputError."""
    try:
        return Plan.model_validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ", ".join(str(part) for part in first["loc"]) or "the file"
        raise InputError(
            f"is not a plan of this program: {where}: {first['msg'][:1].lower()}{first['msg'][1:]}", path=name
        ) from None
