"""The page Connect: which devices may join over the network, with which role. On the laptop only."""

from __future__ import annotations

import datetime
import secrets
from dataclasses import replace
from typing import Annotated, Any, Final, Literal, cast

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import JSONResponse, Response
from pydantic import Field as Bounded

from linkwright.desk.devices import device_rows, door_text, may_until
from linkwright.door.codes import Admission
from linkwright.door.gate import COOKIE, address_of, person_of
from linkwright.door.may import OWN_PATH
from linkwright.draw.ink import INK
from linkwright.sheets.codes import code_svg
from linkwright.shoot.clock import zone_of
from linkwright.shoot.errors import InputError
from linkwright.store import Device, Passing, Role
from linkwright.store.paths import fit
from linkwright.units import number_word
from linkwright.web.answers import RequestBody, desk_of, file_response, pages_of, render, snapshot_of

router = APIRouter()

ROLES: Final = {
    "look": "may look",
    "log": "may look, note what happens and tick things off",
    "edit": "may change the shoot",
    "crew": "is of a crew",
    "list": "may fetch our list of carriers",
}
#: What a key may be for, in words.
KEYS: Final = {"log": "sends readings", "list": "fetches our list of carriers"}
#: Before the id of a crew, where a role is chosen.
OF_CREW: Final = "crew "


#: So many lines of the book at the door are shown.
LINES: Final = 100
#: A cookie is kept as long as a browser keeps any; the job decides until when its token holds.
COOKIE_S: Final = 400 * 86400


class Joining(RequestBody):
    """A code from the laptop's page, and what the device calls itself, where the laptop did not say."""

    code: Annotated[str, Bounded(max_length=100)]
    name: Annotated[str, Bounded(max_length=60)] = ""


@router.get("/connect")
def page(request: Request, crew: Annotated[str, Query(max_length=100)] = "") -> Response:
    """The devices that joined, and how another one joins: of a crew, where one is said."""
    context = _context(request, f"{OF_CREW}{crew}" if crew else "look")
    return render(request, "connect.html", answer=_answer(request, len(context["devices"])), **context)


def _answer(request: Request, count: int) -> str:
    if not pages_of(request).lan.urls:
        return "Only this laptop sees these pages; start with --lan to let telephones join."
    return f"Open on the network; {number_word(count)} device{'s have' if count != 1 else ' has'} joined."


def _context(request: Request, role: str = "look", code: str = "") -> dict[str, Any]:
    """What the page shows: the devices, the book, and the pictures of a code where there is one."""
    pages, shoot = pages_of(request), snapshot_of(request).shoot
    pages.book.write()
    zone = datetime.UTC if shoot is None else zone_of(shoot)
    links = [f"{url}/join#{code}" for url in pages.lan.urls] if code else []
    devices = pages.desk.store.devices()
    crews = _crews(request)
    whose = {
        device.id: f"is of {crews.get(device.crew, 'a crew that is gone')}" for device in devices if device.crew
    }
    return {
        "urls": pages.lan.urls, "fingerprints": pages.lan.fingerprints(), "roles": ROLES, "role": role,
        "keys": KEYS, "whose": whose,
        "chosen": [(key, words) for key, words in ROLES.items() if key not in ("crew", "list")]
        + [(f"{OF_CREW}{id_}", f"is of {name}") for id_, name in crews.items()],
        "codes": [code_svg(link, scale=6, dark=INK, fills=True) for link in links],
        "devices": device_rows(devices, pages.desk.store.now(), zone),
        "lines": [door_text(line, zone) for line in pages.desk.store.door_lines(LINES)],
    }  # fmt: skip


@router.post("/connect/code")
def new_code(
    request: Request,
    role: Annotated[str, Form(max_length=110)] = "look",
    name: Annotated[str, Form(max_length=60)] = "",
    device: Annotated[str, Form(max_length=100)] = "",
) -> Response:
    """A code for one more device, or for one that joined before and now comes from another address."""
    pages = pages_of(request)
    known = next(
        (paired for paired in pages.desk.store.devices() if paired.id == device and paired.revoked is None), None
    )
    if device and known is None:
        raise InputError("this device was forgotten; make a code for a new one")
    called = known.name if known is not None else fit(name.strip(), "the name") or f"telephone {_next(request)}"
    may, crew = (known.role, known.crew) if known is not None else _role_of(request, role)
    code = pages.codes.new(may, called, device, crew)
    pages.book.put("code", called, "")
    return render(request, "connect_code.html", answer="", called=called, **_context(request, role, code))


def _crews(request: Request) -> dict[str, str]:
    """The names of the job's crews, by id."""
    crews = snapshot_of(request).document.draft.entries("crew")
    return {id_: name for id_, crew in crews if isinstance(name := crew.get("name"), str) and name}


def _role_of(request: Request, chosen: str) -> tuple[Role, str]:
    """The role that was chosen, and the id of the crew, where it is of one. Raises InputError."""
    for role in ("look", "log", "edit"):
        if chosen == role:
            return cast(Role, role), ""
    crew = chosen.removeprefix(OF_CREW)
    if not chosen.startswith(OF_CREW) or crew not in _crews(request):
        raise InputError("choose what the device may do, or one of the crews")
    return "crew", crew


def _next(request: Request) -> int:
    return 1 + len(desk_of(request).store.devices())


@router.post("/connect/key")
def new_key(
    request: Request,
    name: Annotated[str, Form(max_length=60)] = "",
    role: Annotated[Literal["log", "list"], Form()] = "log",
) -> Response:
    """A key for a program that sends readings or fetches our list: shown once, and kept only as its hash."""
    usual = "another crew" if role == "list" else "a gateway of receivers"
    pages, called = pages_of(request), name.strip() or usual
    token = _let_in(request, Admission(role, called), "key")[0]
    urls = pages.lan.urls or (f"http://{request.headers.get('host', '')}",)
    return render(request, "connect_key.html", answer="", key=token, called=called, url=urls[0], role=role)


@router.post("/connect/forget")
def forget(request: Request, device: Annotated[str, Form(max_length=100)]) -> Response:
    """A device may no longer come in; what it holds open ends."""
    store = desk_of(request).store
    called = next((paired.name for paired in store.devices() if paired.id == device), "")
    if store.revoke_device(device, person_of(request).name):
        pages_of(request).book.put("forgotten", called, address_of(request))
    return render(request, "connect_devices.html", answer="", **_context(request))


@router.get("/connect/certificate.pem")
def certificate(request: Request) -> Response:
    """The certificate of this laptop, for programs that send readings; there is nothing secret in it."""
    there = pages_of(request).lan.certificate
    if there is None:
        raise InputError("there is no certificate; start with --lan and without --plain")
    return file_response("linkwright.pem", there.file.read_bytes(), "application/x-pem-file")


@router.get("/join")
def join_page(request: Request) -> Response:
    """What a telephone opens from the code, which stays in the fragment that no server or log sees.

    Nothing of the job is in it: whoever is on the network may ask for it.
    """
    return pages_of(request).templates.TemplateResponse(request, "join.html")


@router.post("/join")
def join(request: Request, joining: Joining) -> Response:
    """Let a device in: it gets a key of its own, which only it and the job know."""
    pages, address = pages_of(request), address_of(request)
    admission = pages.codes.take(joining.code, address)
    if admission is None:
        if pages.book.refuse("wrong", address):
            pages.book.write()
        raise InputError("this code is used up or too old; make a new one on the laptop's page Connect")
    called = admission.name or joining.name.strip() or "a telephone"
    token, device = _let_in(request, replace(admission, name=called), "again" if admission.device else "joined")
    to = OWN_PATH if device.role == "crew" else "/plan"
    response = JSONResponse({"says": f"{device.name} {ROLES[device.role]}.", "to": to})
    secure = request.url.scheme == "https" or pages.lan.in_front
    response.set_cookie(COOKIE, token, max_age=COOKIE_S, httponly=True, samesite="strict", path="/", secure=secure)
    return response


def _let_in(request: Request, admission: Admission, what: Passing) -> tuple[str, Device]:
    """A token for a device, new or known, that holds until the shoot is over. Raises InputError."""
    pages, token = pages_of(request), secrets.token_urlsafe(32)
    store, shoot = pages.desk.store, snapshot_of(request).shoot
    ends = may_until(shoot, store.now(), joins=True)
    device = store.new_token(admission.device, token, ends, "laptop") if admission.device else None
    if admission.device and device is None:
        raise InputError("this device was forgotten; make a code for a new one on the laptop's page Connect")
    device = device or store.add_device(
        admission.name, admission.role, token, "laptop", ends=ends, crew=admission.crew
    )
    pages.book.put(what, device.name, address_of(request))
    return token, device
