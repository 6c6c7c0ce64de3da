"""Who may ask for what: exact hosts, the Origin check, the content policy, and the devices that were let in.

Loopback is always open: whoever sits at the laptop owns the job. The network is open only with --lan, and then a
device needs a token that it got by pairing. Plain HTTP on a local network has no Sec-Fetch-Site, so the Origin
check carries the defence against foreign pages, and the exact list of hosts the one against rebound names.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from typing import Final

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from linkwright.door.book import Book
from linkwright.door.keeper import HOME, Keeper
from linkwright.door.may import ORDER, SAFE, why_not
from linkwright.shoot.errors import InputError
from linkwright.store import Passing, Role, Store

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
#: Where receivers and their gateways send readings, and programs that sweep their rows.
READINGS_PATH: Final = "/log/readings"
SWEEPS_PATH: Final = "/log/sweeps"


@dataclass(frozen=True, slots=True)
class Person:
    """Whoever asks: by the name of the device, with what it may do; of the role "crew" also whose it is, by id."""

    name: str
    role: Role
    paired: bool = True
    device: str = ""
    ends: datetime.datetime | None = None
    crew: str = ""

    def lasts(self) -> bool:
        """Whether the token of the device still holds."""
        return self.ends is None or datetime.datetime.now(datetime.UTC) < self.ends

    def may(self, role: Role) -> bool:
        """Whether this is enough."""
        return self.role in ORDER and ORDER[self.role] >= ORDER[role]


class Gate:
    """The first thing that every request meets. Plain ASGI, so that streams pass without being held up."""

    def __init__(
        self, app: ASGIApp, store: Store, hosts: AbstractSet[str], keeper: Keeper, book: Book,
        until: Callable[[], datetime.datetime], behind: bool = False,
    ) -> None:  # fmt: skip
        self.app, self.store, self.hosts, self.behind = app, store, hosts, behind
        self.keeper, self.book, self.until = keeper, book, until

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer why not; every answer carries the policy."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        scope["behind"] = self.behind

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                there = {key.lower() for key, _ in message["headers"]}
                message["headers"] = [
                    *message["headers"],
                    *((k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in there),
                ]
            await send(message)

        what: Passing = "foreign"
        refusal = _foreign(request, self.hosts)
        if refusal is None:
            refusal, what = await self._refusal(request), "unpaired"
        if refusal is not None and request.method not in SAFE:
            refusal.headers["connection"] = "close"  # what else it sends is not read
        told = refusal is not None and (what == "foreign" or refusal.status_code == 401)
        if told and self.book.refuse(what, address_of(request)):
            await run_in_threadpool(self.book.write)
        await (refusal or self.app)(scope, receive, with_headers)

    async def _refusal(self, request: Request) -> Response | None:
        try:
            person = await self._person(request)
        except InputError as error:
            return PlainTextResponse(f"Who asks cannot be looked up: {error}", 503)
        role = None if person is None else person.role
        why = why_not(role, request.method, request.url.path, on_laptop=is_loopback(request))
        if why:
            return PlainTextResponse(why, 401 if person is None else 403)
        request.scope["person"] = person or Person("a device that is not paired", "look", paired=False)
        return None

    async def _person(self, request: Request) -> Person | None:
        if is_loopback(request):
            return Person("laptop", "edit")
        scheme, _, given = request.headers.get("authorization", "").partition(" ")
        token = given.strip() if scheme.lower() == "bearer" else request.cookies.get(COOKIE)
        device = await run_in_threadpool(self.store.device_of, token, self.until) if token else None
        if device is None or request.client is None:
            return None
        self.keeper.know(request.client.host)
        return Person(device.name, device.role, device=device.id, ends=device.ends, crew=device.crew)


def _foreign(request: Request, hosts: AbstractSet[str]) -> Response | None:
    """Why a request is none of our own pages'; None where it may be.

    A browser says an origin with whatever it sends to another place, and asks first before it sends JSON. Where it
    says from where a page asks (loopback, HTTPS), other pages may only lead here, not look.
    """
    host = request.headers.get("host", "")
    if host not in hosts:
        return PlainTextResponse("This program does not answer to that name.", 421)
    origin, ours = request.headers.get("origin"), (f"http://{host}", f"https://{host}")
    if request.method in SAFE:
        foreign = origin is not None and origin not in ours
        if request.headers.get("sec-fetch-site") in ("cross-site", "same-site"):
            foreign = request.headers.get("sec-fetch-dest") != "document"
    elif origin is None and request.url.path in (READINGS_PATH, SWEEPS_PATH):  # programs say no origin
        foreign = request.headers.get("content-type", "").partition(";")[0].strip() != "application/json"
    else:
        foreign = origin not in ours
    if foreign:
        return PlainTextResponse("That came from another page; open this program's own page.", 403)
    return None


def is_loopback(request: Request) -> bool:
    """Whether a request comes from this machine itself; never behind a balancer, which may be on it."""
    if request.scope.get("behind"):
        return False
    return request.client is not None and (request.client.host in HOME or request.client.host == "testclient")


def address_of(request: Request) -> str:
    """From which address a request comes; behind a balancer, as that says last."""
    forwarded = request.headers.get("x-forwarded-for", "") if request.scope.get("behind") else ""
    if forwarded:
        return forwarded.rpartition(",")[2].strip()[:60]
    return request.client.host if request.client is not None else ""


def person_of(request: Request) -> Person:
    """Who asks."""
    person: Person = request.scope["person"]
    return person
