"""What a page asks for: the path of an entry, a part of its long lists."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import Depends, Query, Request

from linkwright.desk.part import LookedFor
from linkwright.shoot.errors import InputError


def json_of(text: str) -> Any:
    """JSON as a page sends it back. Raises InputError."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        raise InputError("what the page saw there is no JSON; load the page again") from None


def path_of(text: str) -> tuple[str, ...]:
    """A path as a page sends it. Raises InputError."""
    path = json_of(text)
    if not isinstance(path, list) or not path or not all(isinstance(key, str) for key in path):
        raise InputError("that is no path of a shoot; load the page again")
    return tuple(path)


def looked_for(
    request: Request,
    find: Annotated[str, Query(max_length=80)] = "",
    go: Annotated[str, Query(max_length=2000)] = "",
) -> LookedFor:
    """Which part of its long lists a page shows, as it asks."""
    asked = ((key.removeprefix("first-"), text) for key, text in request.query_params.items())
    firsts = {kind: int(text) for kind, text in asked if text.isdecimal() and len(text) < 8}
    return LookedFor(find, firsts, path_of(go) if go else ())


Looked = Annotated[LookedFor, Depends(looked_for)]
