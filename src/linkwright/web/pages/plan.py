"""The page Plan: who is on what, and why?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import PlainTextResponse, Response
from pydantic import Field as Bounded

from linkwright.desk.job import Job
from linkwright.draw.ledger import Ledger, drawn_ledger
from linkwright.plan.answer import answer_sentence
from linkwright.plan.file import parse_plan, write_plan
from linkwright.plan.model import Plan, PlannedCall, PlannedLink
from linkwright.plan.what_if import outcomes
from linkwright.plan.why import why
from linkwright.shoot.errors import InputError
from linkwright.units import khz_from_mhz, mhz_text
from linkwright.web.answers import job_of, render
from linkwright.web.pages.edit import Body
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


def rows(job: Job, plan: Plan, order: str) -> list[Row]:
    """The links of all calls in the order asked for."""
    shoot = job.document().shoot
    locked = {link.name for link in shoot.link if link.locked_mhz is not None} if shoot is not None else set()
    found = [Row(call, link, link.link in locked) for call in plan.calls for link in call.links]
    if order == "need":
        found.sort(key=lambda row: (GRAVITY[row.link.verdict], row.link.in_hand_db))
    elif order == "name":
        found.sort(key=lambda row: row.link.link)
    elif order == "carrier":
        found.sort(key=lambda row: row.link.carrier_khz)
    return found


def answer(job: Job) -> str:
    """The answer of the page as a sentence."""
    planned, document = job.planned, job.document()
    if planned.error is not None:
        return f"No plan: {planned.error}"
    if planned.plan is not None:
        return answer_sentence(planned.plan)
    if planned.busy:
        return "The plan is being made."
    if document.shoot is None:
        return "No plan yet: the shoot lacks something; the page Shoot says what."
    if not document.shoot.link:
        return "No plan yet: the shoot has no links."
    return "The plan will be here in a moment."


def context(job: Job, order: str) -> dict[str, Any]:
    """Everything that the page shows."""
    plan, shoot = job.planned.plan, job.document().shoot
    return {
        "links": [link.name for link in shoot.link] if shoot is not None else [],
        "answer": answer(job),
        "plan": plan,
        "orders": ORDERS,
        "order": order if order in ORDERS else "need",
        "rows": rows(job, plan, order) if plan is not None else [],
        "old": plan is not None and job.planned.of_revision != job.document().revision,
        "beside": differences(job, plan),
    }


@dataclass(frozen=True, slots=True)
class Difference:
    """A link in a call in two plans, where they differ."""

    call: str
    link: str
    before: str
    now: str


def differences(job: Job, plan: Plan | None) -> list[Difference] | None:
    """Where the plan that was set aside differs from the newest; None where none was."""
    data = job.store.cache_get(BESIDE)
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
    return render(request, "plan.html", **context(job_of(request), order))


@router.get("/plan/body")
def body(request: Request, order: Order = "need") -> Response:
    """What of the page follows the newest plan."""
    return render(request, "plan_body.html", **context(job_of(request), order))


@router.get("/plan.json")
def download(request: Request) -> Response:
    """The plan as a file."""
    plan = job_of(request).planned.plan
    if plan is None:
        return PlainTextResponse("There is no plan yet.", 404)
    return PlainTextResponse(
        write_plan(plan), media_type="application/json",
        headers={"content-disposition": 'attachment; filename="plan.json"', "cache-control": "no-store"},
    )  # fmt: skip


@router.post("/plan/again")
def again(request: Request, how: Annotated[str, Query(pattern="^(keep|fresh)$")] = "keep") -> dict[str, str]:
    """Make the plan again, keeping carriers or from nothing."""
    job_of(request).plan_again(how)
    return {"says": "The plan is being made."}


@router.post("/plan/stop")
def stop(request: Request) -> dict[str, str]:
    """Stop the plan that is being made."""
    job_of(request).stop_planning()
    return {"says": "Stopped; the earlier plan stays."}


@router.post("/plan/aside")
def aside(request: Request) -> dict[str, str]:
    """Keep this plan beside the next ones."""
    job = job_of(request)
    if job.planned.plan is None:
        raise InputError("there is no plan yet to keep beside the next")
    job.store.cache_put(BESIDE, write_plan(job.planned.plan).encode("utf-8"))
    return {"says": "Kept; the next plan is shown beside it."}


@router.post("/plan/lock")
def lock(request: Request, choice: Choice) -> dict[str, Any]:
    """Lock a link to a carrier, or free it (no carrier)."""
    job = job_of(request)
    document = job.document()
    id_ = document.draft.id_of("link", choice.link)
    if id_ is None:
        raise InputError(f"there is no link {choice.link}")
    path = ("link", id_, "locked_mhz")
    value = _khz(choice.mhz) / 1000.0 if choice.mhz else None
    job.store.set_field(path, document.draft.at(*path), value, person_of(request).name)
    word = f"locked to {choice.mhz} MHz" if choice.mhz else "free again"
    return {"says": f"{choice.link} is {word}; the plan follows."}


@router.get("/plan/try")
def try_carrier(
    request: Request, link: Annotated[str, Query(max_length=80)], mhz: Annotated[str, Query(max_length=20)]
) -> Response:
    """What another carrier would do, to the link and to everybody."""
    job = job_of(request)
    scene, plan = job.scene(), job.planned.plan
    if scene is None or plan is None:
        raise InputError("there is no plan yet to try a carrier in")
    khz = _khz(mhz)
    reasons = why(scene, plan, link, khz)
    calls = frozenset(one.call for one in reasons)
    after = outcomes(scene, plan, {link: khz}, calls)
    before = {(one.call, one.link): one for one in outcomes(scene, plan, None, calls)}
    effects = [(one, before.get((one.call, one.link))) for one in after]
    changed = [
        (now, then)
        for now, then in effects
        if then is None
        or now.link == link
        or abs(now.in_hand_db - then.in_hand_db) >= 0.1
        or now.verdict != then.verdict
    ]
    return render(request, "plan_try.html", link=link, khz=khz, reasons=reasons, effects=changed, all=len(effects))


def _khz(text: str) -> int:
    try:
        khz = khz_from_mhz(float(text.replace(",", ".")))
    except (ValueError, OverflowError):
        raise InputError(f'"{text[:20]}" is no whole number of kHz; expected MHz such as 571.125') from None
    if not 1_000 <= khz <= 10_000_000:
        raise InputError(f"{text[:20]} MHz is no frequency of a wireless microphone; expected 1 to 10000 MHz")
    return khz
