"""The page Plan: who is on what, and why?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk.snapshot import Made, Snapshot
from linkwright.draw.ledger import Ledger, drawn_ledger
from linkwright.plan.answer import answer_sentence
from linkwright.plan.file import parse_plan, write_plan
from linkwright.plan.model import Plan, PlannedCall, PlannedLink
from linkwright.plan.what_if import outcomes
from linkwright.plan.why import why
from linkwright.shoot.errors import InputError
from linkwright.store import Store
from linkwright.units import khz_from_mhz, mhz_text
from linkwright.web.answers import Body, desk_of, file_response, plain_text, render, snapshot_of
from linkwright.web.security import person_of

router = APIRouter()

#: The order in which links are shown, by what is asked for.
ORDERS: Final = {"need": "weakest first", "name": "by name", "carrier": "by carrier", "call": "as in the shoot"}
GRAVITY: Final = {"fails": 0, "thin": 1, "holds": 2}
#: Under which key a plan is kept to be seen beside the newest.
BESIDE: Final = "plan-beside"


class Choice(Body):
    """A link, and the carrier that it is asked about or is to have [MHz]."""

    link: Annotated[str, Bounded(max_length=80)]
    mhz: Annotated[str, Bounded(max_length=20)] = ""


@dataclass(frozen=True, slots=True)
class Row:
    """A link in a call, as a row of the table."""

    call: PlannedCall
    link: PlannedLink
    id: str
    locked: bool

    @property
    def key(self) -> str:
        """An id for the page."""
        return f"{self.call.call}-{self.link.link}".replace(" ", "_")

    @property
    def sure(self) -> str:
        """How sure it is, never rounded up."""
        return f"{math.floor(100.0 * self.link.sure)} %"

    @property
    def chart(self) -> str:
        """The ledger drawn, as SVG."""
        link = self.link
        wanted = [(line.part, line.db or 0.0) for line in link.ledger if line.what == "wanted"]
        against = [(line.part, line.dbm) for line in link.ledger if line.dbm is not None]
        return drawn_ledger(
            Ledger(
                f"{link.link} on {mhz_text(link.carrier_khz)} MHz",
                tuple(wanted), link.wanted_dbm, tuple(against), link.noise_and_interference_dbm,
                link.required_cnr_db, link.margin_db,
                tuple((line.part, line.db or 0.0) for line in link.ledger if line.what in ("fading", "doubt")),
                link.in_hand_db,
            )
        )  # fmt: skip


def rows(made: Made, order: str) -> list[Row]:
    """The links of all calls in the order asked for."""
    locked = {link.name for link in made.shoot.link if link.locked_mhz is not None}
    found = [
        Row(call, link, made.names.id_of("link", link.link), link.link in locked)
        for call in made.plan.calls
        for link in call.links
    ]
    if order == "need":
        found.sort(key=lambda row: (GRAVITY[row.link.verdict], row.link.in_hand_db))
    elif order == "name":
        found.sort(key=lambda row: row.link.link)
    elif order == "carrier":
        found.sort(key=lambda row: row.link.carrier_khz)
    return found


def answer(snapshot: Snapshot) -> str:
    """The answer of the page as a sentence."""
    planning = snapshot.planning
    if planning.fault or planning.says:
        return f"No new plan: {planning.fault or planning.says}"
    if snapshot.plan is not None:
        return answer_sentence(snapshot.plan)
    if snapshot.shoot is None:
        return "No plan yet: the shoot lacks something; the page Shoot says what."
    if not snapshot.shoot.link:
        return "No plan yet: the shoot has no links."
    return "The plan is being made." if planning.busy else "The plan will be here in a moment."


def context(request: Request, order: str) -> dict[str, Any]:
    """Everything that the page shows."""
    snapshot = snapshot_of(request)
    made = snapshot.made
    links = () if snapshot.shoot is None else snapshot.shoot.link
    return {
        "links": [(snapshot.names.id_of("link", link.name), link.name) for link in links],
        "answer": answer(snapshot),
        "plan": snapshot.plan,
        "orders": ORDERS,
        "order": order if order in ORDERS else "need",
        "rows": [] if made is None else rows(made, order),
        "beside": differences(desk_of(request).store, snapshot.plan),
    }


@dataclass(frozen=True, slots=True)
class Difference:
    """A link in a call in two plans, where they differ."""

    call: str
    link: str
    before: str
    now: str


def differences(store: Store, plan: Plan | None) -> list[Difference] | None:
    """Where the plan that was set aside differs from the newest; None where none was."""
    data = store.cache_get(BESIDE)
    if data is None or plan is None:
        return None
    try:
        aside = parse_plan(data.decode("utf-8"), "the plan set aside")
    except (InputError, UnicodeDecodeError):
        return None
    before, now = _by_link(aside), _by_link(plan)
    return [
        Difference(*key, _said(before.get(key)), _said(now.get(key)))
        for key in dict.fromkeys([*before, *now])
        if _said(before.get(key)) != _said(now.get(key))
    ]


def _by_link(plan: Plan) -> dict[tuple[str, str], PlannedLink]:
    return {(call.call, link.link): link for call in plan.calls for link in call.links}


def _said(link: PlannedLink | None) -> str:
    if link is None:
        return "not placed"
    return (
        f"{mhz_text(link.carrier_khz)} MHz, {link.power_mw:g} mW, {link.in_hand_db:.1f} dB in hand, {link.verdict}"
    )


Order = Annotated[str, Query(max_length=20)]


@router.get("/plan")
def page(request: Request, order: Order = "need") -> Response:
    """The page."""
    return render(request, "plan.html", **context(request, order))


@router.get("/plan/body")
def body(request: Request, order: Order = "need") -> Response:
    """What of the page follows the newest plan."""
    return render(request, "plan_body.html", **context(request, order))


@router.get("/plan.json")
def download(request: Request) -> Response:
    """The plan as a file."""
    plan = snapshot_of(request).plan
    if plan is None:
        return plain_text("There is no plan yet.", 404)
    return file_response("plan.json", write_plan(plan), "application/json")


@router.post("/plan/again")
def again(request: Request, how: Annotated[str, Query(pattern="^(keep|fresh)$")] = "keep") -> dict[str, str]:
    """Make the plan again, keeping carriers or from nothing."""
    desk_of(request).planning.again(fresh=how == "fresh")
    return {"says": "The plan is being made."}


@router.post("/plan/stop")
def stop(request: Request) -> dict[str, str]:
    """Stop the plan that is being made."""
    desk_of(request).works["planning"].stop()
    return {"says": "Stopped; the earlier plan stays."}


@router.post("/plan/aside")
def aside(request: Request) -> dict[str, str]:
    """Keep this plan beside the next ones."""
    made = snapshot_of(request).planned()
    desk_of(request).store.cache_put(BESIDE, write_plan(made.plan).encode("utf-8"))
    return {"says": "Kept; the next plan is shown beside it."}


@router.post("/plan/lock")
def lock(request: Request, choice: Choice) -> dict[str, Any]:
    """Lock a link to a carrier, or free it (no carrier)."""
    snapshot = snapshot_of(request)
    id_ = snapshot.names.id_of("link", choice.link)
    if snapshot.document.draft.at("link", id_) is None:
        raise InputError(f"there is no link {choice.link}")
    path = ("link", id_, "locked_mhz")
    value = _khz(choice.mhz) / 1000.0 if choice.mhz else None
    store, who = desk_of(request).store, person_of(request).name
    change = store.set_field(path, snapshot.document.draft.at(*path), value, who)
    word = f"locked to {choice.mhz} MHz" if choice.mhz else "free again"
    says = f"{snapshot.names.name_of(id_)} is {word}; the plan follows."
    return {"says": says, "change": None if change is None else change.revision}


@router.get("/plan/try")
def try_carrier(
    request: Request, link: Annotated[str, Query(max_length=80)], mhz: Annotated[str, Query(max_length=20)]
) -> Response:
    """What another carrier would do, to the link and to everybody."""
    made = snapshot_of(request).planned()
    khz, id_ = _khz(mhz), made.names.id_of("link", link)
    name = made.names.name_of(id_)
    reasons = why(made.scene, made.plan, name, khz)
    calls = frozenset(one.call for one in reasons)
    after = outcomes(made.scene, made.plan, {name: khz}, calls)
    before = {(one.call, one.link): one for one in outcomes(made.scene, made.plan, None, calls)}
    effects = [(one, before.get((one.call, one.link))) for one in after]
    changed = [
        (now, then)
        for now, then in effects
        if then is None
        or now.link == name
        or abs(now.in_hand_db - then.in_hand_db) >= 0.1
        or now.verdict != then.verdict
    ]
    return render(
        request, "plan_try.html", link=name, id=id_, khz=khz, reasons=reasons, effects=changed, all=len(effects)
    )


def _khz(text: str) -> int:
    try:
        khz = khz_from_mhz(float(text.replace(",", ".")))
    except (ValueError, OverflowError):
        raise InputError(f'"{text[:20]}" is no whole number of kHz; expected MHz such as 571.125') from None
    if not 1_000 <= khz <= 10_000_000:
        raise InputError(f"{text[:20]} MHz is no frequency of a wireless microphone; expected 1 to 10000 MHz")
    return khz
