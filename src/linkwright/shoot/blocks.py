"""Links that share one carrier of a wideband system: a block, which its talents have in turns or side by side.

A block is named by its links, or made here: links of one kit whose receivers stand at one spot fill blocks in the
order of the file, as many in each as a carrier of the kit carries.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from linkwright.shoot.models import Link, Shoot
from linkwright.shoot.view import transmitter_named


@dataclass(frozen=True, slots=True)
class Blocks:
    """The name of each block, by name of the link that is in one, and its links in the order of the file."""

    of_link: Mapping[str, str]
    members: Mapping[str, tuple[str, ...]]

    @classmethod
    def of(cls, shoot: Shoot) -> Blocks:
        """The blocks of a shoot."""
        members: dict[str, list[str]] = {}
        carries = {kit: transmitter_named(shoot, kit).carries for kit in {link.sends.kit for link in shoot.link}}
        taken = {link.name for link in shoot.link} | {link.block for link in shoot.link if link.block is not None}
        filling: dict[tuple[str, ...], str] = {}
        for link in shoot.link:
            name, most = link.block, carries[link.sends.kit]
            if name is None and most > 1:
                kind = _kind(link)
                name = filling.get(kind, "")
                if not name or len(members[name]) >= most:
                    name = next(
                        f"{link.sends.kit} {n}" for n in range(1, 100_000) if f"{link.sends.kit} {n}" not in taken
                    )
                    taken.add(name)
                    filling[kind] = name
            if name is not None:
                members.setdefault(name, []).append(link.name)
        of_link = {link: name for name, links in members.items() for link in links}
        return cls(of_link, {name: tuple(links) for name, links in members.items()})

    def carrier_of(self, link: str) -> str:
        """Whose carrier a link has: its block's, else its own."""
        return self.of_link.get(link, link)

    def mates(self, link: str) -> tuple[str, ...]:
        """The other links on its carrier."""
        return tuple(name for name in self.members.get(self.of_link.get(link, ""), ()) if name != link)


def _kind(link: Link) -> tuple[str, ...]:
    """What links of one block have in common."""
    return (link.sends.kit, *(f"{end.kit} {end.at}" for end in link.hears))
