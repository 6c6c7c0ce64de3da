"""What must fit together in a shoot beyond each field: names, references, times."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from linkwright.shoot.catalogue import called, catalogue, class_of
from linkwright.shoot.end import End
from linkwright.shoot.errors import did_you_mean
from linkwright.shoot.locate import Loc
from linkwright.shoot.models import Call, Link, Shoot
from linkwright.shoot.view import default_site, transmitter_named

#: The most links that one call may hold: beyond it one site's spectrum is no longer one person's shoot.
MOST_LINKS_A_CALL = 1000
#: The most pairs of places of a link of which both ends walk.
MOST_PAIRS = 400
#: How many known names a sentence lists.
MOST_NAMED = 12


@dataclass(frozen=True, slots=True)
class ShootProblem:
    """Something wrong: where in the document, and what; `missed` is a name that nothing has, and the known ones.

    The nearest of them is looked for when the sentence is asked for: of thousands of problems a few are told.
    """

    loc: Loc
    wrong: str
    missed: tuple[str, Collection[str]] | None = None

    @property
    def says(self) -> str:
        """The sentence."""
        return self.wrong if self.missed is None else f"{self.wrong}{_near(*self.missed)}"

    def within(self, keys: Collection[str]) -> ShootProblem:
        """The same where some keys of its place are only the program's own."""
        return ShootProblem(tuple(key for key in self.loc if key not in keys), self.wrong, self.missed)


def problems_of(shoot: Shoot) -> Iterator[ShootProblem]:
    """Everything that does not fit together in a shoot whose fields are each in order."""
    if not shoot.link:
        yield ShootProblem(("shoot",), "the shoot has no link; expected at least one [[link]]")
    yield from _twice(shoot)
    yield from _equipment(shoot)
    yield from _calls(shoot)
    yield from _crews(shoot)
    yield from _others(shoot)
    yield from _permits(shoot)
    yield from _spots(shoot)
    yield from _readings(shoot)


def _readings(shoot: Shoot) -> Iterator[ShootProblem]:
    known = {link.name for link in shoot.link} | {link.sends.kit for link in shoot.link}
    for number, site in enumerate(shoot.site):
        spots = {spot.name for spot in site.spots}
        for entry, level in enumerate(site.measured_level):
            about, loc = (
                f'site "{site.name}", measured_level {entry + 1}',
                ("site", number, "measured_level", entry),
            )
            if level.link not in known:
                says = f'{about} is of the unknown link "{level.link}"'
                yield ShootProblem((*loc, "link"), says, (level.link, known))
            if level.spot not in spots:
                near = _near(level.spot, spots) if spots else "; the site has no spots"
                yield ShootProblem((*loc, "spot"), f'{about} is at the unknown spot "{level.spot}"{near}')


def _near(word: str, known: Collection[str]) -> str:
    """What was expected instead: the nearest known word, else the known ones."""
    some = sorted(known)[:MOST_NAMED]
    more = f" and {len(known) - len(some)} more" if len(known) > len(some) else ""
    return did_you_mean(word, known) or f"; known are {', '.join(some)}{more}"


def _twice(shoot: Shoot) -> Iterator[ShootProblem]:
    lists: tuple[tuple[str, Iterable[str]], ...] = (
        ("site", (site.name for site in shoot.site)),
        ("link", (link.name for link in shoot.link)),
        ("other", (other.name for other in shoot.other)),
        ("call", (call.name for call in shoot.call)),
        ("permit", (permit.name for permit in shoot.permit)),
        ("crew", (crew.name for crew in shoot.crew)),
    )
    for kind, names in lists:
        yield from _repeated(kind, names, (kind,))
    for number, site in enumerate(shoot.site):
        spots = (spot.name for spot in site.spots)
        yield from _repeated(f'site "{site.name}", spot', spots, ("site", number, "spots"))
    for number, call in enumerate(shoot.call):
        yield from _repeated(f'call "{call.name}", link', call.links, ("call", number, "links"))


def _repeated(kind: str, names: Iterable[str], loc: Loc) -> Iterator[ShootProblem]:
    seen: set[str] = set()
    for number, name in enumerate(names):
        if name in seen:
            yield ShootProblem((*loc, number), f'{kind} "{name}" stands twice; each name once')
        seen.add(name)


def _equipment(shoot: Shoot) -> Iterator[ShootProblem]:
    for number, link in enumerate(shoot.link):
        named: list[tuple[Loc, str | None]] = [
            (("transmitter",) if link.transmit is None else ("transmit", "kit"), link.sends.kit),
            *(
                (("receive", n, "kit") if link.receive else ("receiver",), end.kit)
                for n, end in enumerate(link.hears)
            ),
            (("microphone",), link.microphone),
            (("recorder",), link.recorder),
        ]
        for where, wanted in named:
            kind = KINDS.get(str(where[0]), str(where[0]))
            own = getattr(shoot, kind)
            if wanted is not None and not _is_known(kind, own, wanted):
                says = f'link "{link.name}" names the unknown {kind} "{wanted}"{_nearest_type(kind, own, wanted)}'
                yield ShootProblem(("link", number, *where), says)
            elif kind == "transmitter" and link.locked_mw is not None:
                yield from _step(shoot, number, link, link.locked_mw)
        heard = [end.named for end in link.hears if end.named]
        yield from _repeated(f'link "{link.name}", listener', heard, ("link", number, "receive"))
    yield from _runs(shoot)
    yield from _blocks(shoot)


#: Keys of a link that name kit, and of which kind.
KINDS: Final[dict[str, str]] = {"transmit": "transmitter", "receive": "receiver"}


def _blocks(shoot: Shoot) -> Iterator[ShootProblem]:
    """Whether a block holds more links than its kit carries, or links of several kits."""
    blocks: dict[str, list[tuple[int, Link]]] = {}
    for number, link in enumerate(shoot.link):
        if link.block is not None:
            blocks.setdefault(link.block, []).append((number, link))
    names = {link.name for link in shoot.link}
    for name, members in blocks.items():
        number, first = members[0]
        loc: Loc = ("link", members[-1][0], "block")
        kits = {(link.sends.kit, *(end.kit for end in link.hears)) for _, link in members}
        if name in names:
            yield ShootProblem(loc, f'block "{name}" has the name of a link; expected a name of its own')
        if len(kits) > 1:
            yield ShootProblem(
                loc, f'block "{name}" has links of several kits; one transmitter and one receiver type each'
            )
        elif _is_known("transmitter", shoot.transmitter, first.sends.kit):
            most = transmitter_named(shoot, first.sends.kit).carries
            if len(members) > most:
                kit = called(first.sends.kit)
                says = f'block "{name}" has {len(members)} links; one carrier of {kit} carries {most}'
                yield ShootProblem(loc, says)


def _is_known(kind: str, own: Collection[str], wanted: str) -> bool:
    return wanted in own or class_of(wanted) in catalogue()[kind]


def _nearest_type(kind: str, own: Collection[str], wanted: str) -> str:
    """The nearest type of the shoot or class, else the shoot's own types and where the classes are told."""
    near = did_you_mean(wanted, [*own, *catalogue()[kind], *map(called, catalogue()[kind])])
    mine = (
        f"; known are {', '.join(sorted(own)[:MOST_NAMED])} and the classes" if own else "; known are the classes"
    )
    return near or f"{mine} that `linkwright kit` lists"


def _step(shoot: Shoot, number: int, link: Link, locked_mw: float) -> Iterator[ShootProblem]:
    steps = sorted(transmitter_named(shoot, link.sends.kit).powers_mw)
    if locked_mw not in steps:
        listed = ", ".join(f"{step:g}" for step in steps)
        says = (
            f'link "{link.name}" is locked to {locked_mw:g} mW; the steps of {called(link.sends.kit)} are {listed}'
        )
        yield ShootProblem(("link", number, "locked_mw"), says)


def _runs(shoot: Shoot) -> Iterator[ShootProblem]:
    for number, run in enumerate(shoot.run):
        for kind, own, wanted in (
            ("transmitter", shoot.transmitter, run.transmitter),
            ("microphone", shoot.microphone, run.microphone),
        ):
            if wanted is not None and not _is_known(kind, own, wanted):
                says = f'run {number + 1} names the unknown {kind} "{wanted}"{_nearest_type(kind, own, wanted)}'
                yield ShootProblem(("run", number, kind), says)


def _calls(shoot: Shoot) -> Iterator[ShootProblem]:
    links = {link.name for link in shoot.link}
    sites = {site.name for site in shoot.site} or {default_site().name}
    for number, call in enumerate(shoot.call):
        about = f'call "{call.name}"'
        if call.site is not None and call.site not in sites:
            says = f'{about} is on the unknown site "{call.site}"'
            yield ShootProblem(("call", number, "site"), says, (call.site, sites))
        for name in call.links:
            if name not in links:
                says = f'{about} names the unknown link "{name}"'
                yield ShootProblem(("call", number, "links"), says, (name, links))
        if len(call.links or shoot.link) > MOST_LINKS_A_CALL:
            yield ShootProblem(("call", number), _too_many(about, len(call.links or shoot.link)))
        yield from _breaks(call, number)
    if not shoot.call and len(shoot.link) > MOST_LINKS_A_CALL:
        yield ShootProblem(("shoot",), _too_many("the shoot", len(shoot.link)))


def _too_many(about: str, count: int) -> str:
    return (
        f"{about} has {count} links live at once; expected at most {MOST_LINKS_A_CALL}: "
        "split it into calls and sites"
    )


def _crews(shoot: Shoot) -> Iterator[ShootProblem]:
    known = {crew.name for crew in shoot.crew}
    entries: tuple[tuple[str, Sequence[Link | Call]], ...] = (("link", shoot.link), ("call", shoot.call))
    for kind, named in entries:
        for number, entry in enumerate(named):
            if entry.crew is not None and entry.crew not in known:
                says = f'{kind} "{entry.name}" is of the unknown crew "{entry.crew}"'
                loc: Loc = (kind, number, "crew")
                if known:
                    yield ShootProblem(loc, says, (entry.crew, known))
                else:
                    yield ShootProblem(loc, f"{says}; the shoot has no [[crew]]")


def _breaks(call: Call, number: int) -> Iterator[ShootProblem]:
    for nth, pause in enumerate(call.breaks):
        loc: Loc = ("call", number, "breaks", nth)
        if call.starts is None or call.ends is None:
            yield ShootProblem(loc, f'call "{call.name}" has a break but no from and to')
            return
        starts, ends = ((call.next_day and at < call.starts, at) for at in (pause.starts, pause.ends))
        if ends <= starts:
            yield ShootProblem(
                loc, f'call "{call.name}": a break ends at {pause.ends} and begins at {pause.starts}'
            )
        elif starts < (False, call.starts) or ends > (call.next_day, call.ends):
            yield ShootProblem(
                loc, f'call "{call.name}": the break {pause.starts} to {pause.ends} lies outside the call'
            )


def _others(shoot: Shoot) -> Iterator[ShootProblem]:
    sites = {site.name for site in shoot.site} or {default_site().name}
    for number, other in enumerate(shoot.other):
        if other.site is not None and other.site not in sites:
            says = f'other "{other.name}" is on the unknown site "{other.site}"'
            yield ShootProblem(("other", number, "site"), says, (other.site, sites))


def _permits(shoot: Shoot) -> Iterator[ShootProblem]:
    links = {link.name for link in shoot.link}
    for number, permit in enumerate(shoot.permit):
        for name in permit.links:
            if name not in links:
                says = f'permit "{permit.name}" is for the unknown link "{name}"'
                yield ShootProblem(("permit", number, "for"), says, (name, links))


def _spots(shoot: Shoot) -> Iterator[ShootProblem]:
    known = {spot.name for site in shoot.site for spot in site.spots}
    for number, link in enumerate(shoot.link):
        here = ("transmit",) if link.transmit is not None else ()
        ends: list[tuple[Loc, End]] = [(here, link.sends)]
        ends += [(("receive", n) if link.receive else (), end) for n, end in enumerate(link.hears)]
        for where, end in ends:
            for key, name in [*(("route", name) for name in end.route), *([("at", end.at)] if end.at else [])]:
                if name not in known:
                    says = f'link "{link.name}", {key}: there is no spot "{name}"'
                    loc: Loc = ("link", number, *where, key)
                    if known:
                        yield ShootProblem(loc, says, (name, known))
                    else:
                        yield ShootProblem(loc, f"{says}; no site names any spot")
        longest = max((len(end.route) for end in link.hears), default=0)
        if len(link.sends.route) * longest > MOST_PAIRS:
            says = (
                f'link "{link.name}" walks at both ends: {len(link.sends.route)} spots by {longest}; '
                f"expected at most {MOST_PAIRS} pairs"
            )
            yield ShootProblem(("link", number, "receive"), says)
