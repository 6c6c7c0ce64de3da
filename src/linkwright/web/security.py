"""Who may ask for what: exact hosts, the Origin check, the content policy, and the devices that were let in.

Loopback is always open: whoever sits at the laptop owns the job. The network is open only with --lan, and then a
device needs a token that it got by pairing. Plain HTTP on a local network has no Sec-Fetch-Site, so the Origin
check carries the defence against foreign pages, and the exact list of hosts the one against rebound names.
"""

from __future__ import annotations

import hashlib
import ipaddress
from dataclasses import dataclass
from typing import Final, Literal

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from linkwright.store import Store

Role = Literal["look", "log", "edit"]

#: Everything from this program, nothing from elsewhere, nothing inside the page that runs.
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; "
    "font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS: Final = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
COOKIE: Final = "linkwright"
SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
#: What may be asked for without a token: the page that takes one, and what it is drawn with.
OPEN_PATHS: Final = ("/join", "/static/")
ORDER: Final[dict[Role, int]] = {"look": 0, "log": 1, "edit": 2}
#: Where receivers and their gateways send readings.
READINGS_PATH: Final = "/log/readings"
#: What a device that may only log may send.
LOG_PATHS: Final = ("/log", "/tick")


@dataclass(frozen=True, slots=True)
class Person:
    """Whoever asks: by the name of the device, with what it may do."""

    name: str
    role: Role
    paired: bool = True

    def may(self, role: Role) -> bool:
        """Whether this is enough."""
        return ORDER[self.role] >= ORDER[role]


class Gate:
    """The first thing that every request meets. Plain ASGI, so that streams pass without being held up."""

    def __init__(self, app: ASGIApp, store: Store, hosts: frozenset[str]) -> None:
        self.app, self.store, self.hosts = app, store, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer why not; every answer carries the policy."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = {key.lower() for key, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *((k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in there),
                ]
            await send(message)

        refusal = self._refusal(request)
        await (refusal or self.app)(scope, receive, with_headers)

    def _refusal(self, request: Request) -> Response | None:
        host = request.headers.get("host", "")
        if host not in self.hosts:
            return PlainTextResponse("This program does not answer to that name.", 421)
        if request.method not in SAFE and not self._from_here(request, host):
            return PlainTextResponse("That came from another page; open this program's own page.", 403)
        person = self._person(request)
        path = request.url.path
        if person is None:
            if path.startswith(OPEN_PATHS):
                request.scope["person"] = Person("a device that is not paired", "look", paired=False)
                return None
            return PlainTextResponse("This device is not paired. Scan the code on the laptop's page Connect.", 401)
        needed: Role = "look" if request.method in SAFE else "log" if path.startswith(LOG_PATHS) else "edit"
        if path.startswith("/connect") and not is_loopback(request):
            return PlainTextResponse("Devices are let in and forgotten on the laptop itself.", 403)
        if not person.may(needed) and not path.startswith(OPEN_PATHS):
            return PlainTextResponse(f"This device may {person.role}; this needs one that may {needed}.", 403)
        request.scope["person"] = person
        return None

    def _from_here(self, request: Request, host: str) -> bool:
        """Whether our own page sent it; readings also come from programs, which say no origin.

        A browser says an origin with whatever it sends to another place, and asks first before it sends JSON.
        """
        origin = request.headers.get("origin")
        if origin is None and request.url.path == READINGS_PATH:
            return request.headers.get("content-type", "").partition(";")[0].strip() == "application/json"
        return origin in (f"http://{host}", f"https://{host}")

    def _person(self, request: Request) -> Person | None:
        if is_loopback(request):
            return Person("laptop", "edit")
        scheme, _, given = request.headers.get("authorization", "").partition(" ")
        token = given.strip() if scheme.lower() == "bearer" else request.cookies.get(COOKIE)
        device = self.store.device_of(token) if token else None
        return Person(device.name, device.role) if device is not None else None


def is_loopback(request: Request) -> bool:
    """Whether a request comes from this machine itself."""
    try:
        return request.client is not None and ipaddress.ip_address(request.client.host).is_loopback
    except ValueError:
        return request.client is not None and request.client.host == "testclient"


def person_of(request: Request) -> Person:
    """Who asks."""
    person: Person = request.scope["person"]
    return person


def hash_of(data: bytes) -> str:
    """A name for what does not change: it may be kept for good under it."""
    return hashlib.sha256(data).hexdigest()[:16]
