"""A list of carriers from an address: bounded in size and time, never led elsewhere, and said what came when.

Nothing is sent but the address and the token, and nothing but text comes of it. A laptop of another crew has a
certificate that nobody vouches for: it is taken where its SHA-256 is the one that was told.
"""

from __future__ import annotations

import datetime
import hashlib
import hmac
import http.client
import socket
import ssl
import time
import urllib.parse
from dataclasses import dataclass
from typing import Final

from linkwright.shoot.errors import InputError

#: Largest list that is taken [bytes], and how long all of it may take [s].
MOST_BYTES: Final = 8 * 1024 * 1024
WITHIN_S: Final = 20.0
PIECE_BYTES: Final = 65_536


@dataclass(frozen=True, slots=True)
class Fetched:
    """What came from an address: its text, its size, and when."""

    address: str
    text: str
    size_bytes: int
    when: datetime.datetime

    @property
    def says(self) -> str:
        """What was fetched when, a sentence."""
        return f"{self.size_bytes} bytes from {self.address} at {self.when:%H:%M:%S, %d %b}"


def is_address(name: str) -> bool:
    """Whether a name is an address on the web and no file."""
    return name.lower().startswith(("http://", "https://"))


def fetch(address: str, token: str = "", fingerprint: str = "", within_s: float = WITHIN_S) -> Fetched:
    """What an address answers. Raises InputError: no such address, no answer in time, too long, led elsewhere.

    fingerprint : the SHA-256 of the certificate, in hexadecimal digits, where nobody vouches for it.
    """
    parts, shown = _parts(address), address.partition("?")[0]
    end_s = time.monotonic() + within_s
    connection = _connection(parts, fingerprint, within_s)
    try:
        connection.connect()
        if fingerprint:
            _is_known(connection, fingerprint, shown)
        way = urllib.parse.urlunsplit(("", "", parts.path or "/", parts.query, ""))
        headers = {"accept": "application/json, text/csv", "user-agent": "linkwright"}
        connection.request(
            "GET", way, headers={**headers, "authorization": f"Bearer {token}"} if token else headers
        )
        answer = connection.getresponse()
        if 300 <= answer.status < 400:
            raise InputError("leads elsewhere, which is not followed; give the address itself", path=shown)
        if answer.status != 200:
            why = " (is the token right?)" if answer.status in (401, 403) else ""
            raise InputError(f"answers {answer.status}{why}; expected a list of carriers", path=shown)
        data = _read(answer, connection, end_s, shown)
    except ssl.SSLError as error:
        says = "shows a certificate that nobody vouches for; say its SHA-256, as their page Connect has it"
        raise InputError(f"{says} ({error.reason})", path=shown) from None
    except (OSError, http.client.HTTPException) as error:
        why = "no answer in time" if isinstance(error, TimeoutError) else str(error) or type(error).__name__
        raise InputError(f"cannot be fetched ({why})", path=shown) from None
    finally:
        connection.close()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"is not UTF-8 text (byte {error.start}); expected CSV or JSON", path=shown) from None
    return Fetched(shown, text, len(data), datetime.datetime.now().astimezone())


def _parts(address: str) -> urllib.parse.SplitResult:
    try:
        parts = urllib.parse.urlsplit(address)
        known = (
            parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port is None or parts.port > 0)
        )
        fit = all(32 < ord(letter) < 127 for letter in address)
    except ValueError:
        known = fit = False
    if not (known and fit) or parts.username is not None:
        raise InputError(
            "is no address; expected one such as https://192.0.2.7:8037/list/carriers.json", path=address
        )
    return parts


def _connection(parts: urllib.parse.SplitResult, fingerprint: str, within_s: float) -> http.client.HTTPConnection:
    assert parts.hostname is not None
    if parts.scheme == "http":
        return http.client.HTTPConnection(parts.hostname, parts.port, timeout=within_s)
    context = ssl.create_default_context()
    if fingerprint:
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return http.client.HTTPSConnection(parts.hostname, parts.port, timeout=within_s, context=context)


def _is_known(connection: http.client.HTTPConnection, fingerprint: str, shown: str) -> None:
    """Raises InputError where the certificate is another than was told: nothing was sent to it yet."""
    sock = connection.sock
    if not isinstance(sock, ssl.SSLSocket):
        raise InputError("is not encrypted: there is no certificate to compare", path=shown)
    there = hashlib.sha256(sock.getpeercert(binary_form=True) or b"").hexdigest()
    told = "".join(digit for digit in fingerprint.lower() if digit not in " :")
    if not hmac.compare_digest(there, told):
        raise InputError("shows another certificate than was told; ask them for its SHA-256", path=shown)


def _read(
    answer: http.client.HTTPResponse, connection: http.client.HTTPConnection, end_s: float, shown: str
) -> bytes:
    body, sock = bytearray(), connection.sock
    while True:
        left_s = end_s - time.monotonic()
        if left_s <= 0.0:
            raise TimeoutError
        if isinstance(sock, socket.socket):
            sock.settimeout(left_s)
        piece = answer.read1(PIECE_BYTES)
        if not piece:
            return bytes(body)
        body += piece
        if len(body) > MOST_BYTES:
            says = f"has more than {MOST_BYTES // 1024 // 1024} MiB; expected a list of carriers"
            raise InputError(says, path=shown)
