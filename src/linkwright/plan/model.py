"""The plan as its file says it (docs/reference.md): frozen, checked, and the same bytes for the same shoot."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Sequence
from typing import Annotated, Any, ClassVar, Literal, NamedTuple, overload

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler
from pydantic_core import core_schema

from linkwright.shoot.end import whose
from linkwright.shoot.equipment import shown
from linkwright.shoot.evidence import Evidence
from linkwright.shoot.models import Guard

Verdict = Literal["holds", "thin", "fails"]
Severity = Literal["stop", "warn", "note"]
Criterion = Literal["clean", "power"]
#: A carrier [kHz], up to 100 GHz: what is made of it, such as a raster, has room in memory.
Carrier = Annotated[int, Field(gt=0, le=100_000_000)]
#: Carriers [kHz] with what the display of the kit calls them.
Labels = tuple[tuple[Carrier, str], ...]
What = Literal["wanted", "noise", "interference", "fading", "doubt"]


class Checked(BaseModel):
    """A part of a plan: frozen, unknown keys are errors, NaN and infinity too."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class LedgerLine(Checked):
    """One contribution: `db` for a gain or loss of the wanted signal and for what the margin is used up by, `dbm`
    for noise and interference."""

    what: What = Field(description="which sum it belongs to")
    part: str = Field(description="what contributes")
    db: float | None = Field(default=None, description="gain (+) or loss (-) of the wanted signal [dB]")
    dbm: float | None = Field(default=None, description="level of noise or interference [dBm]")
    evidence: Evidence = Field(description="how it is known")
    source: str = Field(description="where it comes from")
    spread_db: float | None = Field(default=None, description="how uncertain it is, standard deviation [dB]")


class LedgerRow(NamedTuple):
    """A line of a ledger as it is worked out: the fields of `LedgerLine`."""

    what: What
    part: str
    db: float | None
    dbm: float | None
    evidence: Evidence
    source: str
    spread_db: float | None = None


class Ledger(Sequence[LedgerLine]):
    """A link's ledger: rows as they were worked out, and the checked lines of them from when somebody reads them.

    An event has a hundred thousand, few of which are ever looked at.
    """

    #: What it is in a file.
    in_file: ClassVar[Any] = tuple[LedgerLine, ...]

    def __init__(self, rows: Iterable[LedgerRow]) -> None:
        # Plain tuples of plain values: the collector of garbage leaves them alone.
        self.plain: tuple[tuple[Any, ...], ...] = tuple(map(tuple, rows))

    @property
    def rows(self) -> tuple[LedgerRow, ...]:
        """The rows as they were worked out."""
        return tuple(LedgerRow(*row) for row in self.plain)

    @functools.cached_property
    def lines(self) -> tuple[LedgerLine, ...]:
        """The lines."""
        return tuple(LedgerLine(**row._asdict()) for row in self.rows)

    @overload
    def __getitem__(self, at: int) -> LedgerLine: ...
    @overload
    def __getitem__(self, at: slice) -> tuple[LedgerLine, ...]: ...
    def __getitem__(self, at: int | slice) -> LedgerLine | tuple[LedgerLine, ...]:
        return self.lines[at]

    def __iter__(self) -> Iterator[LedgerLine]:
        return iter(self.lines)

    def __len__(self) -> int:
        return len(self.plain)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Ledger) and self.plain == other.plain

    def __hash__(self) -> int:
        return hash(self.plain)

    def __repr__(self) -> str:
        return repr(self.lines)

    @classmethod
    def _of(cls, lines: tuple[LedgerLine, ...]) -> Ledger:
        return cls(LedgerRow(**dict(line)) for line in lines)

    @classmethod
    def __get_pydantic_core_schema__(cls, _: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """In a file it is a list of lines, as any other."""
        lines = handler.generate_schema(cls.in_file)
        return core_schema.no_info_wrap_validator_function(
            lambda given, check: given if isinstance(given, cls) else cls._of(check(given)),
            lines,
            serialization=core_schema.plain_serializer_function_ser_schema(tuple, return_schema=lines),
        )


def _label(labels: Labels | None, carrier_khz: int) -> str:
    return dict(labels or ()).get(carrier_khz, "")


class PlannedListener(Checked):
    """One of several who listen to a link: what arrives there, and what it comes to."""

    listener: str = Field(description="who or what listens")
    wanted_dbm: float = Field(description="local mean at the place that decides [dBm]")
    noise_and_interference_dbm: float = Field(description="noise and interference together [dBm]")
    margin_db: float = Field(description="what is left over the need at the place that decides [dB]")
    in_hand_db: float = Field(description="what is left: margin less fading less doubt [dB]")
    sure: float = Field(description="how sure it is (0..1) that it keeps to what is wanted of it")
    worst_at: str = Field(description="the spot of its way that decides")
    verdict: Verdict = Field(description="holds, thin or fails")


class PlannedLink(Checked):
    """A link with its carrier, its spares, its power, and the proof that it holds or does not."""

    link: str = Field(description="name of the link")
    receiver_unit: int = Field(default=1, description="which unit of its type of receiver, at its spot")
    receiver_channel: int = Field(default=1, description="which channel of that unit")
    carrier_khz: Carrier = Field(description="its carrier [kHz]")
    spares_khz: tuple[Carrier, ...] = Field(description="its spare carriers, in the order to try them [kHz]")
    power_mw: float = Field(description="conducted power step [mW]")
    wanted_dbm: float = Field(description="local mean at the place that decides [dBm]")
    noise_and_interference_dbm: float = Field(description="noise and interference together [dBm]")
    required_cnr_db: float = Field(description="C/(N+I) that the receiver needs [dB]")
    margin_db: float = Field(description="what is left over the need at the place that decides [dB]")
    fading_db: float = Field(description="how much of it the fading takes, in the median of what is known [dB]")
    doubt_db: float = Field(description="how much of it what is not known takes, at the sureness wanted [dB]")
    in_hand_db: float = Field(description="what is left: margin less fading less doubt [dB]")
    sure: float = Field(description="how sure it is (0..1) that the link keeps to what is wanted of it")
    availability: float = Field(description="share of time unbroken, in the median of what is known")
    breaks_per_hour: float = Field(description="seconds an hour that hold a break, in the median of what is known")
    breaks_per_hour_90: float = Field(description="the same in the case at the sureness wanted")
    worst_at: str = Field(description="the spot of the route that decides")
    alone_at: str = Field(default="", description="the spot at which it would have least in hand all the time")
    alone_turn: str = Field(default="", description="how the talent would be turned there; nothing: as it is told")
    alone_db: float | None = Field(default=None, description="what it would have in hand there all the time [dB]")
    verdict: Verdict = Field(description="holds, thin or fails")
    labels: Labels | None = Field(
        default=None,
        description="what the display of the kit calls its carriers [kHz, label]; none: it has no list",
    )
    squelch_dbm: float | None = Field(default=None, description="squelch to set, at the receiver's input [dBm]")
    squelch_cuts: float | None = Field(
        default=None, description="share of time at the worst spot that it cuts audio which would still do"
    )
    squelch_opens: float | None = Field(
        default=None, description="share of time that somebody known on the carrier opens it, the own one being off"
    )
    attenuation_db: float | None = Field(default=None, description="input attenuation to set [dB]")
    low_cut_hz: float | None = Field(default=None, description="low cut to set [Hz]")
    delay_ms: float | None = Field(default=None, description="delay from microphone to output [ms]")
    set_delay_ms: float | None = Field(
        default=None, description="delay to set on it so that all links of the call come together [ms]"
    )
    peak_dbfs: float | None = Field(default=None, description="the voice's peaks at the converter [dBFS]")
    voice_over_noise_db: float | None = Field(default=None, description="the voice's rms over all noise [dB]")
    ledger: Ledger = Field(description="what the numbers are made of")
    block: str | None = Field(default=None, description="the block whose links share its carrier; none: its own")
    listener: str | None = Field(default=None, description="of several who listen, the one that decides")
    listeners: tuple[PlannedListener, ...] | None = Field(
        default=None, description="of several who listen, each by itself; none: one"
    )

    @property
    def worst_place(self) -> str:
        """The spot that decides, and of several who listen whose it is: "Riser (Drummer)"."""
        return f"{self.worst_at} ({self.listener})" if self.listener else self.worst_at

    @property
    def all_khz(self) -> tuple[int, ...]:
        """Its carrier and its spares [kHz]."""
        return (self.carrier_khz, *self.spares_khz)

    def shown(self, carrier_khz: int) -> str:
        """One of its carriers as people set it and read it, with what the display calls it."""
        return shown(carrier_khz, _label(self.labels, carrier_khz))

    @property
    def carrier(self) -> str:
        """Its carrier, so."""
        return self.shown(self.carrier_khz)

    @property
    def spares(self) -> tuple[str, ...]:
        """Its spares, so."""
        return tuple(map(self.shown, self.spares_khz))


class PlannedByItself(Checked):
    """A link whose kit finds its carriers by itself: it is given none, and proved for reach alone."""

    link: str = Field(description="name of the link")
    from_khz: Carrier = Field(description="its lowest carrier [kHz]")
    to_khz: Carrier = Field(description="its highest carrier [kHz]")
    power_mw: float = Field(description="the most that it may send, conducted [mW]")
    margin_db: float = Field(
        description="what is left over the need at the place that decides, over noise alone [dB]"
    )
    in_hand_db: float = Field(description="what is left: margin less fading less doubt [dB]")
    sure: float = Field(description="how sure it is (0..1) that the link keeps to what is wanted of it")
    breaks_per_hour: float = Field(description="seconds an hour that hold a break, in the median of what is known")
    worst_at: str = Field(description="the spot that decides")
    listener: str | None = Field(default=None, description="of several who listen, the one that decides")
    verdict: Verdict = Field(description="holds, thin or fails")
    ledger: Ledger = Field(description="what the numbers are made of")

    @property
    def worst_place(self) -> str:
        """The spot that decides, and of several who listen whose it is."""
        return f"{self.worst_at} ({self.listener})" if self.listener else self.worst_at


class Unplaced(Checked):
    """A link that has no carrier, and why."""

    link: str = Field(description="name of the link")
    because: str = Field(description="why it found no place")


class Products(Checked):
    """What third-order products do in a call, made by all transmitters known at the site."""

    on_carriers: int = Field(description="carriers in use that one falls on, nearer than its guard")
    on_spares: int = Field(description="spares that one falls on")
    inside: int | None = Field(
        default=None, description="carriers and spares in whose channel some of one lies; none: not counted"
    )
    nearest_khz: int | None = Field(
        default=None, description="the nearest to a carrier or a spare [kHz]; none: none within 1000 kHz"
    )
    strongest: str | None = Field(
        default=None, description="the strongest in the channel of a carrier in use, whose it is"
    )
    strongest_on: str | None = Field(default=None, description="the link that receives it")
    over_noise_db: float | None = Field(
        default=None, description="how far it is over the noise [dB]; none: more than 20 dB under it"
    )


class PlannedCall(Checked):
    """A call with its links."""

    call: str = Field(description="name of the call")
    site: str = Field(description="name of its site")
    bound: int | None = Field(description="proven upper limit on how many such links could be placed")
    criterion: Criterion | None = Field(default=None, description="by which rule this call's carriers were chosen")
    other_criterion_db: float | None = Field(
        default=None,
        description="what the other criterion would give the worst link in hand, more (+) or less [dB]",
    )
    other_criterion_holding: int | None = Field(
        default=None, description="how many links would hold under the other criterion"
    )
    missed: float | None = Field(
        default=None,
        description="chance (0..1) that the sweeps missed somebody who is on 5 % of the time; none without a sweep",
    )
    look_s: float | None = Field(
        default=None, description="how long to sweep in the same way to find such a user in 95 % of cases [s]"
    )
    products: Products | None = Field(default=None, description="what third-order products do")
    links: tuple[PlannedLink, ...] = Field(description="the links that have a carrier")
    unplaced: tuple[Unplaced, ...] = Field(default=(), description="the links that have none")
    by_themselves: tuple[PlannedByItself, ...] | None = Field(
        default=None, description="the links that find their carriers by themselves; none: there is none"
    )

    @property
    def told(self) -> tuple[PlannedLink | PlannedByItself, ...]:
        """All links that are proved."""
        return (*self.links, *(self.by_themselves or ()))


class Rule(Checked):
    """By which rule the carriers were chosen."""

    criterion: Criterion = Field(description="clean: no product falls on a carrier; power: products weighed")
    orders: tuple[int, ...] = Field(description="orders of intermodulation that are counted")
    guard_khz: Guard = Field(description="guards of a clean plan [kHz]")


class Battery(Checked):
    """When a link's cells are changed."""

    link: str = Field(description="name of the link")
    change_at: str = Field(description="when to change, ISO 8601 with offset")
    left_h: float = Field(description="what would be left then [h]")
    call: str | None = Field(default=None, description="the call in which, or before which, it is")
    when: Literal["break", "before", "take"] | None = Field(
        default=None, description="in a break, before the call, or in a take"
    )
    listener: str | None = Field(default=None, description="whose receiver it is; none: the link's transmitter")

    @property
    def who(self) -> str:
        """Whose cells they are, as people say it."""
        return whose(self.link, self.listener or "")


class Move(Checked):
    """One step of going over from an earlier plan."""

    step: int = Field(description="in this order, from 1")
    site: str = Field(description="name of the site")
    link: str = Field(description="name of the link, or of the block whose links share a carrier")
    links: tuple[str, ...] | None = Field(default=None, description="the links of the block; none: one link")
    from_khz: int | None = Field(default=None, description="its earlier carrier [kHz]; none: it had none")
    to_khz: int = Field(description="its new carrier [kHz]")
    clean: bool = Field(description="after this step no product falls on a carrier")
    because: str = Field(default="", description="why it does not stay where it was, as a sentence")
    labels: Labels | None = Field(
        default=None, description="what the display of the kit calls the two [kHz, label]; none: it has no list"
    )

    @property
    def who(self) -> str:
        """Who moves, by the names of the links."""
        *first, last = self.links or (self.link,)
        return f"{', '.join(first)} and {last}" if first else last

    @property
    def before(self) -> str:
        """Its earlier carrier as people read it; "" where it had none."""
        return "" if self.from_khz is None else shown(self.from_khz, _label(self.labels, self.from_khz))

    @property
    def after(self) -> str:
        """Its new carrier as people set it."""
        return shown(self.to_khz, _label(self.labels, self.to_khz))


class Finding(Checked):
    """Something that a person must know, with what to do about it."""

    code: str = Field(description="what kind of finding; see docs/findings.md")
    severity: Severity = Field(description="stop, warn or note")
    about: str = Field(description="the link, site or row that it is about")
    says: str = Field(description="what was found, as a sentence")
    do: str = Field(description="what to do about it")


class Plan(Checked):
    """A plan: every call's links, and what was found."""

    format: Literal["linkwright-plan/2"] = Field(default="linkwright-plan/2", description="format and version")
    made_with: str = Field(description="version of the program")
    shoot: str = Field(description="title of the shoot")
    region: str = Field(description="whose rules apply")
    rule: Rule = Field(description="by which rule the carriers were chosen")
    calls: Annotated[tuple[PlannedCall, ...], Field(description="the calls, in the order of the shoot")]
    batteries: tuple[Battery, ...] = Field(default=(), description="battery changes")
    moves: tuple[Move, ...] = Field(default=(), description="how to go over from an earlier plan, step by step")
    findings: tuple[Finding, ...] = Field(default=(), description="what a person must know")

    @property
    def all_hold(self) -> bool:
        """Whether every live link of every call has a carrier, or needs none, and holds."""
        return all(not call.unplaced and all(link.verdict == "holds" for link in call.told) for call in self.calls)
