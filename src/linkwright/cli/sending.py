"""Readings and sweeps sent to the program's own pages over HTTP, as a receiver's bridge would."""

from __future__ import annotations

import json
import os
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
#: Where the key of the page Connect is looked for: what stands on a command line others can read.
KEY: Final = "LINKWRIGHT_KEY"


def send(batches: Iterable[Batch], address: str, speed: float) -> None:
    """Send readings at the pace of their times, `speed` times as fast. Raises InputError where nobody takes
    them."""
    from linkwright.watch.log.writing import json_records
    from linkwright.watch.play.replay import paced

    if urlsplit(address).scheme not in ("http", "https"):
        raise InputError(f'"{address[:80]}" is no address; expected http://HOST:PORT/...')
    for batch in paced(batches, speed, clock=time.monotonic, sleep=time.sleep):
        post(address, json.dumps(json_records(batch)).encode(), "readings")


def post(address: str, body: bytes, what: str) -> bytes:
    """Send JSON; the answer. A key of the page Connect is taken from LINKWRIGHT_KEY. Raises InputError where nobody
    takes it."""
    key = os.environ.get(KEY, "")
    headers = {"Content-Type": "application/json"} | ({"Authorization": f"Bearer {key}"} if key else {})
    request = urllib.request.Request(address, body, headers, method="POST")
    try:
        with urllib.request.urlopen(request, timeout=TIMEOUT_S) as answer:
            return bytes(answer.read())
    except urllib.error.HTTPError as error:
        raise InputError(f"{address} refused the {what} ({error.code} {error.reason})") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "reason", error)
        raise InputError(f"{address} cannot be reached ({reason}); is the page served there?") from None
