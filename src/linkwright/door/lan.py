"""Where this machine is on the network, by which names it is asked for, and by what the way there is encrypted."""

from __future__ import annotations

import contextlib
import datetime
import re
import socket
import ssl
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

from linkwright.shoot.errors import InputError

if TYPE_CHECKING:
    from linkwright.door.certificate import Certificate

#: Where the system answers for names that end in .local (RFC 6762), this is there.
ANSWERS_LOCAL: Final = Path("/run/avahi-daemon/socket")


@dataclass
class Lan:
    """The exact names, with port, that the pages answer to, and their addresses on the network.

    folder : where the certificate is kept; None: the way is not encrypted. They follow the laptop's addresses.
    in_front : something in front of the pages has the name by which they are asked for, and encrypts. behind : this
    process is behind it, so that nobody who asks counts as sitting at this machine.
    """

    hosts: set[str] = field(default_factory=set)
    urls: tuple[str, ...] = ()
    folder: Path | None = None
    port: int = 0
    addresses: Callable[[], list[str]] = list
    certificate: Certificate | None = None
    tls: ssl.SSLContext | None = None
    in_front: bool = False
    behind: bool = False

    @classmethod
    def behind_name(cls, name: str) -> Lan:
        """Behind a balancer that is asked for by a name. Raises InputError where that is none."""
        checked = _name(name)
        return cls({checked, f"{checked}:443"}, (f"https://{checked}",), in_front=True, behind=True)

    @classmethod
    def beside_name(cls, hosts: set[str], name: str) -> Lan:
        """On this machine alone, where devices join by a name behind which others serve. Raises InputError."""
        return cls(hosts, (f"https://{_name(name)}",), in_front=True)

    @classmethod
    def at(
        cls, hosts: set[str], port: int, folder: Path | None, addresses: Callable[[], list[str]] | None = None
    ) -> Lan:
        """Open to the network at a port. Raises InputError where there can be no certificate."""
        lan = cls(hosts, (), folder, port, addresses or lan_addresses)
        lan.look()
        return lan

    @property
    def plain(self) -> bool:
        """Whether it is open to the network and not encrypted."""
        return bool(self.urls) and self.tls is None and not self.in_front

    def look(self) -> bool:
        """Follow the addresses as they are now. Whether they were others before. Raises InputError."""
        names = [*self.addresses(), *local_names()]
        urls = tuple(f"http{'s' if self.folder else ''}://{name}:{self.port}" for name in names)
        if urls == self.urls:
            return False
        if self.folder is not None:
            from linkwright.door.certificate import certificate_of

            own = [*names, "localhost", "127.0.0.1"]
            self.certificate = certificate_of(self.folder, own, datetime.datetime.now(datetime.UTC))
            self.tls = self.tls or _context()
            self.tls.load_cert_chain(self.certificate.file, self.certificate.key_file)
        self.hosts |= {f"{name}:{self.port}" for name in names}
        self.urls = urls
        return True

    def fingerprints(self) -> tuple[str, ...]:
        """What a telephone shows of the key and of the certificate; nothing where there is none."""
        there = self.certificate
        if there is None:
            return ()
        from linkwright.door.certificate import grouped

        return grouped(there.key_sha256), grouped(there.sha256)


def _name(name: str) -> str:
    host = name.strip().lower()
    if re.fullmatch(r"[a-z0-9](?:[a-z0-9.-]{0,251}[a-z0-9])?(?::\d{1,5})?", host) is None:
        raise InputError(f'"{name[:80]}" is no name of a host; expected one such as event.example')
    return host


def _context() -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    return context


def local_names() -> list[str]:
    """The name of this machine that stays when its address changes, where the system answers for it."""
    name = socket.gethostname().partition(".")[0].lower()
    answered = ANSWERS_LOCAL.exists() and re.fullmatch(r"[a-z0-9-]{1,63}", name) is not None
    return [f"{name}.local"] if answered else []


def lan_addresses() -> list[str]:
    """This machine's own addresses on its networks, as far as they can be told without asking anybody."""
    addresses: list[str] = []
    probe = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        probe.connect(("192.0.2.1", 9))  # sends nothing: a datagram socket only picks the way out
        addresses.append(probe.getsockname()[0])
    except OSError:
        pass
    finally:
        probe.close()
    with contextlib.suppress(OSError):
        addresses += socket.gethostbyname_ex(socket.gethostname())[2]
    return [address for address in dict.fromkeys(addresses) if not address.startswith("127.")]


def looked(lan: Lan) -> str:
    """Follow the addresses; what is to be told of it, nothing where nothing changed."""
    try:
        if lan.look() and lan.urls:
            return f"The address on the network is now {', '.join(lan.urls)}; make new codes on the page Connect."
    except (InputError, OSError) as error:
        return f"The address on the network changed, and there is no certificate for it: {error}"
    return ""
