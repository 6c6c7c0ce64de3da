"""The application: the desk, the gate before it, and its pages."""

from __future__ import annotations

import functools
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response, StreamingResponse
from fastapi.templating import Jinja2Templates
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware

from linkwright import __version__
from linkwright.desk.crewsheet import wanted_text
from linkwright.desk.desk import Desk
from linkwright.desk.devices import may_until
from linkwright.desk.names import named_in
from linkwright.door.bodies import Bodies
from linkwright.door.book import Book
from linkwright.door.codes import Codes
from linkwright.door.gate import Gate, person_of
from linkwright.door.lan import Lan
from linkwright.door.may import OWN_PATH
from linkwright.door.once import Once
from linkwright.lengths import clock
from linkwright.plan.answer import hand_says, short_says
from linkwright.plan.products import products_sentence
from linkwright.shoot.errors import InputError, InputErrors
from linkwright.store import Conflict, Store
from linkwright.store.paths import UNFIT
from linkwright.units import counted, mhz_text, with_article
from linkwright.web.answers import Pages, plain_text, static_files, static_url
from linkwright.web.hub import Hub

if TYPE_CHECKING:
    from linkwright.desk.sources import Sources
    from linkwright.store.placebook import PlaceBook

TYPES: Final = {
    ".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml", ".txt": "text/plain",
    ".woff2": "font/woff2", ".png": "image/png",
}  # fmt: skip


def create_app(
    store: Store, hosts: frozenset[str] = frozenset(), lan_urls: tuple[str, ...] = (),
    sources: Sources | None = None, places: PlaceBook | None = None, lan: Lan | None = None,
    dask: str = "",
) -> FastAPI:  # fmt: skip
    """The pages of the job in a store. `hosts` are the exact names (with port) that it answers to.

    `lan_urls` are its addresses on the network, where it is open to it; `lan` holds both where they may change.
    `sources` bring readings besides HTTP. `places` is where the person keeps what was learnt of places; none:
    nothing is kept or offered. `dask` is the scheduler whose workers plan large events.
    """
    lan = lan or Lan(set(hosts), lan_urls)
    hub = Hub()
    desk = Desk(store, hub, places, sources, dask)

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        desk.start()
        yield
        hub.close()
        pages.book.write()
        desk.close()

    app = FastAPI(title="Linkwright", version=__version__, lifespan=life, docs_url=None, redoc_url=None)
    pages = app.state.pages = Pages(desk, hub, _templates(), Book(store), lan, Codes(store))
    if lan.behind:
        pages.keeper.trust()
    app.add_middleware(GZipMiddleware, minimum_size=1000)  # it leaves the event stream alone
    app.add_middleware(Once)
    app.add_middleware(Bodies)
    app.add_middleware(
        Gate, store=store, hosts=lan.hosts, keeper=pages.keeper, book=pages.book,
        until=lambda: may_until(desk.document()[0].shoot, store.now()), behind=lan.behind,
    )  # fmt: skip
    _errors(app)
    _static(app)
    from linkwright.web.pages import ROUTERS

    # As they are: to include a router builds all of its routes again at the first request, which took 0.3 s in all,
    # while threads of ours run that silence warnings too.
    for router in ROUTERS:
        app.router.routes.extend(router.routes)

    _first_routes(app, hub, desk)
    return app


def _first_routes(app: FastAPI, hub: Hub, desk: Desk) -> None:
    """The address without a path, and the events that pages listen to."""

    @app.get("/", include_in_schema=False)
    def first(request: Request) -> Response:
        return RedirectResponse(OWN_PATH if person_of(request).role == "crew" else "/shoot")

    @app.get("/events", include_in_schema=False)
    async def events(request: Request, live: bool = False) -> StreamingResponse:
        person = person_of(request)
        stream = hub.stream(desk.told, frozenset({"live"} if live else ()), person.device, person.lasts)
        return StreamingResponse(stream, media_type="text/event-stream", headers={"cache-control": "no-store"})


@functools.cache
def _templates() -> Jinja2Templates:
    env = Environment(
        loader=PackageLoader("linkwright.web", "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters["mhz"] = mhz_text
    env.filters["minus"] = lambda number: number.replace("-", "\N{MINUS SIGN}")
    env.filters["hand"] = short_says
    env.filters["named_in"] = named_in
    env.filters["clock"] = clock
    env.filters["products"] = products_sentence
    env.globals["static"] = static_url
    env.globals["counted"] = counted
    env.globals["a"] = with_article
    env.globals["wanted_text"] = wanted_text
    env.globals["hand_says"] = hand_says
    return Jinja2Templates(env=env)


def _static(app: FastAPI) -> None:
    @app.get("/static/{version}/{name:path}", include_in_schema=False)
    def static(version: str, name: str) -> Response:
        path = static_files().get(name)  # only names that are in the package: nothing asked for becomes a path
        if path is None or path.suffix not in TYPES:
            return plain_text("There is no such file.", 404)
        del version
        headers = {"cache-control": "public, max-age=31536000, immutable"}
        return Response(path.read_bytes(), media_type=TYPES[path.suffix], headers=headers)


def _errors(app: FastAPI) -> None:
    @app.exception_handler(InputError)
    async def input_error(_request: Request, error: InputError) -> Response:
        return _said(error.errors if isinstance(error, InputErrors) else [error], 400)

    @app.exception_handler(Conflict)
    async def conflict(_request: Request, error: Conflict) -> Response:
        return _said([error], 409, theirs=error.theirs, who=error.who)

    @app.exception_handler(HTTPException)
    async def not_taken(_request: Request, error: HTTPException) -> Response:
        cause = error.__cause__
        if isinstance(cause, OSError):  # what is sent is laid on the disk before anybody reads it
            why = f"what was sent could not be kept ({cause.strerror}); make room on the laptop's disk"
            return _said([f"{why} and send it again"], 507)
        lost = "what was sent cannot be read; load the page again and send it again"
        return _said([lost if error.status_code == 400 else error.detail], error.status_code)

    @app.exception_handler(RequestValidationError)
    async def not_understood(_request: Request, error: RequestValidationError) -> Response:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"][1:])
        return _said([f"{where}: {first['msg']}"], 422)


def _said(says: Sequence[object], status: int, **more: object) -> Response:
    """Sentences, with a mark for what of them cannot be sent: they may quote what was refused."""
    return JSONResponse({"says": [UNFIT.sub("�", str(say)) for say in says], **more}, status)
