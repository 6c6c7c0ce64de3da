"""The page Live: what is happening now?"""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk.day import since_changed
from linkwright.desk.job import Job
from linkwright.desk.playing import Playing
from linkwright.desk.spares import spares_now
from linkwright.desk.watching import BY_OTHERS, Alarm, Watching, call_at, clock_of
from linkwright.plan.model import Plan
from linkwright.shoot.errors import InputError
from linkwright.units import mhz_text, number_word
from linkwright.watch.diagnose.episodes import CAUSES
from linkwright.web.answers import job_of, render
from linkwright.web.pages.edit import Body
from linkwright.web.security import READINGS_PATH, person_of

router = APIRouter()

#: Kinds of happening that are listed here, and how many.
KINDS: Final = ("take", "cut", "note", "acknowledged", "switched", "changed")
LISTED: Final = 40
#: Largest piece of readings that is taken at once [bytes].
MOST_BYTES: Final = 8 * 1024 * 1024
#: Causes against which another carrier helps.
ON_THE_CARRIER: Final = (*BY_OTHERS, "unknown")


class Happened(Body):
    """Something that happened, by one tap."""

    kind: Literal["take", "cut", "note"]
    text: Annotated[str, Bounded(min_length=1, max_length=300)]
    about: Annotated[str, Bounded(max_length=80)] = ""


class Seen(Body):
    """An alarm that somebody has seen."""

    key: Annotated[str, Bounded(max_length=200)]


class Switch(Body):
    """A link, and the carrier that it goes to [kHz]."""

    link: Annotated[str, Bounded(max_length=80)]
    khz: Annotated[int, Bounded(ge=1_000, le=10_000_000)]


class Play(Body):
    """Simulated readings: begin or end."""

    what: Literal["start", "stop"]


def watching_of(request: Request) -> Watching:
    """The job's readings."""
    found: Watching = request.app.state.watching
    return found


def answer(watching: Watching) -> str:
    """The answer of the page as a sentence."""
    states = {name: state for name, state in watching.states().items() if state != "not on now"}
    heard = {name: state for name, state in states.items() if state != "no readings"}
    alarms = [one for one in watching.shown() if one.closed_s is None]
    if alarms:
        first = alarms[0].episode
        more = f", and {number_word(len(alarms) - 1)} more" if len(alarms) > 1 else ""
        return f"{first.link}: {CAUSES.get(first.cause, first.cause)}{more}."
    if not heard:
        return "No readings come in." if not states else f"No readings come in of {number_word(len(states))} links."
    bad = [name for name, state in heard.items() if state != "holds"]
    silent = len(states) - len(heard)
    rest = f"; {number_word(silent)} say nothing" if silent else ""
    if not bad:
        return f"All {number_word(len(heard))} links that are heard hold{rest}."
    return f"{', '.join(bad[:3])} {'is' if len(bad) == 1 else 'are'} thin or breaking up{rest}."


def alarms_of(request: Request) -> list[dict[str, Any]]:
    """The alarms as the page shows them."""
    watching, job = watching_of(request), job_of(request)
    plan = job.planned.plan
    return [_shown(job, one, plan) for one in watching.shown()]


def _shown(job: Job, one: Alarm, plan: Plan | None) -> dict[str, Any]:
    episode = one.episode
    return {
        "key": one.key, "link": episode.link, "cause_words": CAUSES.get(episode.cause, episode.cause),
        "since": clock_of(job, episode.from_ns),
        "until": "" if one.closed_s is None else clock_of(job, episode.to_ns),
        "probability": episode.probability, "because": episode.because, "do": episode.do,
        "acknowledged": one.acknowledged,
        "spares": episode.cause in ON_THE_CARRIER and bool(_spares(plan, episode.link)),
    }  # fmt: skip


def _spares(plan: Plan | None, link: str) -> tuple[int, ...]:
    for call in plan.calls if plan is not None else ():
        for one in call.links:
            if one.link == link:
                return one.spares_khz
    return ()


def happened(job: Job) -> list[dict[str, str]]:
    """The newest of what happened."""
    found = job.store.happenings(kinds=KINDS)[-LISTED:][::-1]
    return [
        {
            "at": clock_of(job, int(one.when.timestamp() * 1e9)),
            "what": str(one.data.get("text") or one.kind),
            "about": one.about,
            "who": one.who,
        }
        for one in found
    ]


def next_take(job: Job) -> int:
    """The number of the next take."""
    return 1 + len(job.store.happenings(kinds=("take",)))


@router.get("/live")
def page(request: Request) -> Response:
    """The page."""
    job, watching = job_of(request), watching_of(request)
    return render(
        request, "live.html", answer=answer(watching), names=list(watching.states()), alarms=alarms_of(request),
        happened=happened(job), next_take=next_take(job), intake=_came(watching),
    )  # fmt: skip


def _came(watching: Watching) -> str:
    """What came so far, in words."""
    counts = watching.intake.counts()
    if not counts.taken and not counts.refused:
        return "Nothing has come since these pages were opened."
    lost = f", {counts.lost} lost as too many came at once" if counts.lost else ""
    return f"Since these pages were opened {counts.taken} came, {counts.refused} were refused{lost}."


@router.get("/live/alarms")
def alarms(request: Request) -> Response:
    """The alarms, with the newest answer."""
    return render(request, "live_alarms.html", answer=answer(watching_of(request)), alarms=alarms_of(request))


@router.get("/live/happened")
def happenings(request: Request) -> Response:
    """What happened."""
    return render(request, "live_happened.html", answer="", happened=happened(job_of(request)))


@router.get("/api/live")
def state(request: Request) -> dict[str, Any]:
    """Every link as it stands, with its last minute, and when its cells were changed [ms since 1970]."""
    rows = watching_of(request).rows()
    changed = since_changed(job_of(request))
    when = [changed.get(name) for name in rows["names"]]
    return {**rows, "changed": [None if one is None else round(one.timestamp() * 1000) for one in when]}


@router.post(READINGS_PATH)
async def readings(request: Request) -> dict[str, Any]:
    """Readings as JSON: one record or a list of them."""
    from starlette.concurrency import run_in_threadpool

    data = b""
    async for piece in request.stream():
        data += piece
        if len(data) > MOST_BYTES:
            raise InputError(f"the readings have more than {MOST_BYTES // 1024 // 1024} MiB; send them in parts")
    taken = await run_in_threadpool(watching_of(request).take, data)
    return taken.document()


@router.post("/log/happen")
def happen(request: Request, one: Happened) -> dict[str, Any]:
    """Keep that something happened, now."""
    job = job_of(request)
    text = " ".join(one.text.split())
    if not text:
        raise InputError("there is nothing to keep; type what happened")
    job.store.happen(one.kind, one.about, {"text": text}, None, person_of(request).name)
    return {"says": [f"{text}: kept."], "next_take": next_take(job)}


@router.post("/log/acknowledge")
def acknowledge(request: Request, seen: Seen) -> dict[str, Any]:
    """Somebody has seen an alarm."""
    who = person_of(request).name
    one = watching_of(request).acknowledge(seen.key, who)
    cause = CAUSES.get(one.episode.cause, one.episode.cause)
    text = f"{one.episode.link}: {cause}, acknowledged"
    job_of(request).store.happen(
        "acknowledged", one.episode.link, {"text": text, "cause": one.episode.cause}, None, who
    )
    return {"says": [f"{text}."]}


@router.get("/live/spare")
def spare(request: Request, link: Annotated[str, Query(max_length=80)]) -> Response:
    """The spares of a link, proved now."""
    job, watching = job_of(request), watching_of(request)
    scene, plan = job.scene(), job.planned.plan
    if scene is None or plan is None:
        raise InputError("there is no plan yet; the pages Shoot and Plan say what is lacking")
    spares = spares_now(scene, plan, call_at(job, watching.now_ns()), link, watching.now())
    return render(
        request, "live_spare.html", answer="", link=link, spares=spares,
        sweep_age=_sweep_age(job), at=clock_of(job, watching.now_ns()),
    )  # fmt: skip


def _sweep_age(job: Job) -> str:
    """How old the newest sweep is, in words; nothing where there is none or it has no time."""
    names = {name for site in getattr(job.document().shoot, "site", ()) for name in site.sweeps}
    times = [one.when for one in job.store.attachment_list() if one.name in names]
    if not times:
        return ""
    minutes = round((datetime.datetime.now(datetime.UTC) - max(times)).total_seconds() / 60.0)
    return (
        f"{minutes} min" if minutes < 120 else f"{minutes // 60} h" if minutes < 2880 else f"{minutes // 1440} days"
    )


@router.post("/live/switch")
def switch(request: Request, to: Switch) -> dict[str, Any]:
    """A link goes to another carrier: locked there in the shoot, kept as what happened, and who must be told."""
    job, who = job_of(request), person_of(request).name
    id_ = job.document().draft.id_of("link", to.link)
    if id_ is None:
        raise InputError(f'there is no link "{to.link}"; load the page again')
    plan, shoot = job.planned.plan, job.document().shoot
    before = next((o.carrier_khz for c in plan.calls for o in c.links if o.link == to.link), None) if plan else None
    path = ("link", id_, "locked_mhz")
    job.store.set_field(path, job.store.document().at(*path), to.khz / 1000.0, who)
    was = f" from {mhz_text(before)}" if before is not None else ""
    text = f"{to.link} switched{was} to {mhz_text(to.khz)} MHz"
    job.store.happen("switched", to.link, {"text": text, "from_khz": before, "to_khz": to.khz}, None, who)
    tell = [one.name for one in shoot.contact] if shoot is not None else []
    told = f"Tell {', '.join(tell)}." if tell else "Tell whoever coordinates carriers here."
    return {"says": [f"{text}. Set the transmitter, then the receiver, and listen. {told}"]}


@router.post("/live/try")
def try_it(request: Request, play: Play) -> dict[str, Any]:
    """Play simulated readings, or stop."""
    playing: Playing = request.app.state.playing
    if play.what == "stop":
        playing.stop()
        return {"says": ["Stopped."]}
    playing.start()
    return {"says": ["Simulated readings are coming in; all of it is invented."]}
