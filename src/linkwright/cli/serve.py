"""`linkwright serve`: the pages."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable

    from linkwright.desk.sources import Sources
    from linkwright.door.lan import Lan
    from linkwright.store import Store

DEFAULT_PORT = 8037


# long and wide: an argument or option of the command each
def run(
    shoot: Annotated[
        str | None, typer.Argument(help="a shoot file to open, a job file made here before, or an archive of one")
    ] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="port; 0 takes a free one")] = DEFAULT_PORT,
    lan: Annotated[
        bool, typer.Option("--lan", help="open to the local network too, for devices that are paired")
    ] = False,
    plain: Annotated[
        bool, typer.Option("--plain", help="with --lan: not encrypted, whoever is on the network can listen in")
    ] = False,
    mqtt: Annotated[
        str | None,
        typer.Option(help="take readings from this broker of MQTT: HOST, HOST:PORT, or mqtts://USER@HOST:PORT"),
    ] = None,
    mqtt_topic: Annotated[
        str, typer.Option(help="the topic that they are published under")
    ] = "linkwright/readings/#",
    osc: Annotated[int | None, typer.Option(min=1, max=65535, help="take readings by OSC at this UDP port")] = None,
    database: Annotated[str | None, typer.Option(help="a job file, or the URL of a PostgreSQL database")] = None,
    behind: Annotated[
        str | None,
        typer.Option(help="NAME by which a balancer in front is asked, which encrypts: all need a token"),
    ] = None,
    joins: Annotated[
        str | None,
        typer.Option(help="NAME at which devices join, served by others with --behind: Connect here lets them in"),
    ] = None,
    dask: Annotated[
        str | None, typer.Option(help="plan large events on the workers of this Dask scheduler: tls://HOST:PORT")
    ] = None,
) -> None:
    """The web pages of a shoot, on loopback unless --lan.

    A shoot file is read into a job file beside it (shoot.lwjob), in which all edits are kept; from then on that
    file is the job. Download shoot.toml from the page Shoot at any time. An archive (from the page Wrap) is
    unpacked into a job file beside it.
    """
    from linkwright.desk.archive import is_zip, open_beside
    from linkwright.desk.files import import_shoot
    from linkwright.shoot.errors import InputError
    from linkwright.store import Store
    from linkwright.work.carriers import refuse_open

    if plain and not lan:
        raise InputError("--plain is for --lan: without it nothing leaves this laptop, encrypted or not")
    if [lan, behind is not None, joins is not None].count(True) > 1:
        raise InputError("--lan, --behind and --joins are three ways of being asked; choose one")
    if dask is not None:
        refuse_open(dask)
    path = Path(shoot) if shoot is not None else None
    if path is not None and is_zip(path):
        path = _unpacked(path, database, open_beside)
    is_job = path is not None and path.suffix == ".lwjob"
    place = database or (
        str(path) if is_job else str(path.with_suffix(".lwjob")) if path is not None else "shoot.lwjob"
    )
    store = Store.open(place, create=not is_job)
    try:
        if path is not None and not is_job and not store.document().document:
            import_shoot(store, path, lambda what: typer.echo(what, err=True), _ask)
        name = behind or joins or ""
        sources = _sources(mqtt, mqtt_topic, osc)
        serve_store(store, port, lan, sources, plain=plain, name=name, behind=behind is not None, dask=dask or "")
    finally:
        store.close()


def _ask(name: str) -> bool:
    """Whether to take a file in that the shoot names outside its own folder; nobody there to ask is no."""
    if not sys.stdin.isatty():
        return False
    return typer.confirm(f"The shoot names {name}, which is not in its folder. Take it into the job?", err=True)


def _sources(mqtt: str | None, topic: str, osc: int | None) -> Sources | None:
    """Where readings come from besides HTTP. Raises InputError."""
    if mqtt is None and osc is None:
        return None
    from linkwright.desk.sources import Sources, broker_at

    return Sources(None if mqtt is None else broker_at(mqtt, topic), osc, lambda says: typer.echo(says))


def _unpacked(path: Path, database: str | None, open_beside: Callable[[Path], Path]) -> Path:
    """The job file of an archive. Raises InputError."""
    from linkwright.shoot.errors import InputError

    if database is not None:
        raise InputError("an archive is unpacked into a file beside it; leave --database away", path=str(path))
    unpacked = open_beside(path)
    typer.echo(f"{path.name} is unpacked into {unpacked.name}; from now on open that.", err=True)
    return unpacked


# long and wide: an option of the command each
def serve_store(
    store: Store,
    port: int,
    lan: bool,
    sources: Sources | None = None,
    *,
    or_next: bool = False,
    plain: bool = False,
    name: str = "",
    behind: bool = False,
    dask: str = "",
) -> None:
    """Serve a store until Ctrl-C; `or_next`: at the next free port where that one is taken, and it is said.

    lan : open to the network too, encrypted unless `plain`. name : that of a balancer: this process is `behind` it,
    or lets in devices that join there. dask : the scheduler whose workers plan large events.

    Raises InputError where the port cannot be used.
    """
    from linkwright.desk.loading import own_rules
    from linkwright.door.awake import awake
    from linkwright.door.lan import Lan
    from linkwright.store.placebook import PlaceBook, own_folder
    from linkwright.web.app import create_app
    from linkwright.web.serving import Serving

    own_rules()
    if name:
        Lan.behind_name(name)  # what is no name is told before anything is opened
    sock = _listening(port, lan or behind, or_next)
    taken, port = port, sock.getsockname()[1]
    if taken not in (0, port):
        typer.echo(f"Port {taken} is taken by another program; the next free one is used.")
    places = own_folder()
    hosts = {f"{name}:{port}" for name in ("127.0.0.1", "localhost")}
    open_to = Lan(hosts)
    if name:
        open_to = Lan.behind_name(name) if behind else Lan.beside_name(hosts, name)
    elif lan:
        open_to = Lan.at(hosts, port, None if plain else places.parent / "door")
    app = create_app(store, sources=sources, places=PlaceBook(places), lan=open_to, dask=dask)
    for said in store.said:
        typer.echo(said)
    with awake() as held:
        typer.echo(f"The pages are at http://127.0.0.1:{port} (Ctrl-C ends them).")
        if lan:
            _tell_network(open_to, store)
        if held:
            typer.echo("This laptop does not go to sleep by itself meanwhile.")
        Serving(app).run(sockets=[sock])


def _tell_network(lan: Lan, store: Store) -> None:
    """Where the pages are on the network, who may come in, and by what the laptop is known."""
    for url in lan.urls:
        typer.echo(f"On the network: {url}; let devices in on the page Connect.")
    if lan.plain:
        says = "NOT ENCRYPTED: whoever is on this network can read all of it and take a device's place."
        typer.secho(says, fg=typer.colors.RED, bold=True)
    elif lan.certificate is not None:
        typer.echo(f"A telephone warns once that nobody vouches for this laptop; its key: {lan.fingerprints()[0]}")
    known = [device.name for device in store.devices() if device.revoked is None and device.ends > store.now()]
    if known:
        typer.echo(f"These may come in already: {', '.join(known[:20])}; who should not is forgotten on Connect.")
    typer.echo()


#: So many ports after the one that is taken are tried.
TRIED: Final = 50


def _listening(port: int, lan: bool, or_next: bool) -> socket.socket:
    """A socket that listens on a port, or on the next one that is free. Raises InputError."""
    import socket

    from linkwright.shoot.errors import InputError

    last = min(65535, port + TRIED) if or_next and port else port
    for number in range(port, last + 1):
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind(("0.0.0.0" if lan else "127.0.0.1", number))
            sock.listen(1024)  # whoever follows the address that is printed next is let wait, not refused
        except OSError as error:
            sock.close()
            if number == last:
                says = f"port {port} cannot be used ({error.strerror}); try --port 0 for a free one"
                raise InputError(says) from None
        else:
            return sock
    raise AssertionError("the last port is used or refused")
