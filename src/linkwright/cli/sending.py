"""Readings sent to the program's own page over plain HTTP, as a receiver's bridge would: for trying it out."""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.request
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from linkwright.shoot.errors import InputError

if TYPE_CHECKING:
    from linkwright.watch.log.record import Batch

TIMEOUT_S: Final = 10.0


def send(batches: Iterable[Batch], address: str, speed: float) -> None:
    """Send readings at the pace of their times, `speed` times as fast. Raises InputError where nobody takes
    them."""
    from linkwright.watch.log.writing import json_records
    from linkwright.watch.play.replay import paced

    if urlsplit(address).scheme not in ("http", "https"):
        raise InputError(f'"{address[:80]}" is no address; expected http://HOST:PORT/...')
    for batch in paced(batches, speed, clock=time.monotonic, sleep=time.sleep):
        _post(address, json.dumps(json_records(batch)).encode())


def _post(address: str, body: bytes) -> None:
    request = urllib.request.Request(address, body, {"Content-Type": "application/json"}, method="POST")
    try:
        with urllib.request.urlopen(request, timeout=TIMEOUT_S):
            return
    except urllib.error.HTTPError as error:
        raise InputError(f"{address} refused the readings ({error.code} {error.reason})") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "reason", error)
        raise InputError(f"{address} cannot be reached ({reason}); is the page served there?") from None
