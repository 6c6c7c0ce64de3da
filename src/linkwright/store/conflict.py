"""Two people, one field."""

from __future__ import annotations

import datetime
import json
from typing import Any

from linkwright.store.paths import Path, spoken


class Conflict(Exception):
    """The stored value is not the one that the person saw; nothing was written.

    Parameters
    ----------
    path : the field, with ids for entries of lists; of something that was removed, the path of what is gone.
    theirs : the value that stands there now; None where it was removed.
    who : who changed it last; "" where it never stood there.
    when : when that was; None likewise.
    called : the path as a person says it, entries by their names.
    """

    def __init__(
        self, path: Path, theirs: Any, who: str, when: datetime.datetime | None, called: str | None = None
    ) -> None:
        self.path = path
        self.theirs = theirs
        self.who = who
        self.when = when
        self.called = called or spoken(path)
        super().__init__(str(self))

    def __str__(self) -> str:
        by = f" by {self.who}" if self.who else ""
        if self.theirs is None:
            return f"{self.called} is no longer there: it was removed{by}"
        shown = json.dumps(self.theirs, ensure_ascii=False)
        shown = shown if len(shown) <= 60 else f"{shown[:57]}..."
        return f"{self.called} was changed{by} meanwhile: it is now {shown}"
