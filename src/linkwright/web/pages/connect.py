"""The page Connect: which devices may join over the network, with which role. On the laptop only."""

from __future__ import annotations

import secrets
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import JSONResponse, Response
from pydantic import Field as Bounded

from linkwright.draw.ink import INK
from linkwright.sheets.codes import code_svg
from linkwright.shoot.errors import InputError
from linkwright.units import number_word
from linkwright.web.answers import Body, desk_of, pages_of, render
from linkwright.web.security import COOKIE, address_of, person_of

router = APIRouter()

ROLES: Final = {
    "look": "may look",
    "log": "may look, note what happens and tick things off",
    "edit": "may change the shoot",
}


class Joining(Body):
    """A code from the laptop's page, and what the device is called."""

    code: Annotated[str, Bounded(max_length=100)]
    name: Annotated[str, Bounded(max_length=60)] = ""


@router.get("/connect")
def page(request: Request) -> Response:
    """The devices that joined, and how another one joins."""
    return render(request, "connect.html", answer=_answer(request), **_context(request, None, "look"))


def _answer(request: Request) -> str:
    urls = pages_of(request).lan_urls
    devices = [one for one in desk_of(request).store.devices() if one.revoked is None]
    if not urls:
        return "Only this laptop sees these pages; start with --lan to let telephones join."
    count = number_word(len(devices))
    return f"Open on the network; {count} device{'s have' if len(devices) != 1 else ' has'} joined."


def _context(request: Request, code: str | None, role: str) -> dict[str, Any]:
    urls = pages_of(request).lan_urls
    links = [f"{url}/join#{code}" for url in urls] if code is not None else []
    return {
        "urls": urls, "roles": ROLES, "role": role, "links": links,
        "codes": [code_svg(link, scale=6, dark=INK) for link in links], "devices": desk_of(request).store.devices(),
    }  # fmt: skip


@router.post("/connect/code")
def new_code(request: Request, role: Annotated[Literal["look", "log", "edit"], Form()] = "look") -> Response:
    """A code for one more device."""
    return render(
        request, "connect_code.html", answer="", **_context(request, pages_of(request).codes.new(role), role)
    )


@router.post("/connect/key")
def new_key(request: Request, name: Annotated[str, Form(max_length=60)] = "") -> Response:
    """A key for a program that sends readings: shown once, and kept only as its hash."""
    token = secrets.token_urlsafe(32)
    called = name.strip() or "a gateway of receivers"
    desk_of(request).store.add_device(called, "log", token, "laptop")
    urls = pages_of(request).lan_urls or (f"http://{request.headers.get('host', '')}",)
    return render(request, "connect_key.html", answer="", key=token, called=called, url=urls[0])


@router.post("/connect/forget")
def forget(request: Request, device: Annotated[str, Form(max_length=100)]) -> Response:
    """A device may no longer join."""
    desk_of(request).store.revoke_device(device, person_of(request).name)
    return render(request, "connect_devices.html", answer="", **_context(request, None, "look"))


@router.get("/join")
def join_page(request: Request) -> Response:
    """What a telephone opens from the code, which stays in the fragment that no server or log sees.

    Nothing of the job is in it: whoever is on the network may ask for it.
    """
    return pages_of(request).templates.TemplateResponse(request, "join.html")


@router.post("/join")
def join(request: Request, joining: Joining) -> Response:
    """Let a device in: it gets a key of its own, which only it and the job know."""
    admission = pages_of(request).codes.take(joining.code, address_of(request))
    if admission is None:
        raise InputError("this code is used up or too old; make a new one on the laptop's page Connect")
    token = secrets.token_urlsafe(32)
    name = joining.name.strip() or "a telephone"
    desk_of(request).store.add_device(name, admission.role, token, "laptop")
    response = JSONResponse({"says": f"{name} {ROLES[admission.role]}."})
    response.set_cookie(COOKIE, token, max_age=30 * 86400, httponly=True, samesite="strict", path="/")
    return response
