"""The page Live: what is happening now?"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Annotated, Any, Final, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from pydantic import Field as Bounded

from linkwright.desk.airing import AIR
from linkwright.desk.alarms import Alarm
from linkwright.desk.current import live_call_at, live_calls_at
from linkwright.desk.live import answer, clock_of, happened, next_take, sweep_age
from linkwright.desk.measuring import measure
from linkwright.desk.snapshot import Snapshot
from linkwright.desk.spares import spares_now
from linkwright.desk.troubles import Level, Still, end, report
from linkwright.desk.wall import Tile, call_left, tiles
from linkwright.desk.watching import Watching
from linkwright.door.gate import READINGS_PATH, SWEEPS_PATH, person_of
from linkwright.shoot.errors import InputError
from linkwright.watch.diagnose.causes import CAUSES, words_of
from linkwright.web.answers import RequestBody, desk_of, render, snapshot_of

router = APIRouter()

#: Largest piece of readings that is taken at once [bytes].
MOST_BYTES: Final = 8 * 1024 * 1024


class Happened(RequestBody):
    """Something that happened, by one tap."""

    kind: Literal["take", "cut", "note"]
    text: Annotated[str, Bounded(min_length=1, max_length=300)]
    about: Annotated[str, Bounded(max_length=200)] = ""


class AlarmSeen(RequestBody):
    """An alarm that somebody has seen."""

    key: Annotated[str, Bounded(max_length=200)]


class Answered(RequestBody):
    """What somebody answers about an alarm: yes or no to what it asks, or what it was; neither takes it back."""

    key: Annotated[str, Bounded(max_length=200)]
    yes: bool | None = None
    was: Annotated[str, Bounded(max_length=40)] = ""


class TroubleReport(RequestBody):
    """A link in trouble, and three answers of whoever hears it."""

    link: Annotated[str, Bounded(max_length=200)]
    several: bool = False
    level: Level = "unknown"
    still: Still = "unknown"


class LevelHere(RequestBody):
    """A link whose level now is kept as measured, and the spot at which its talent is."""

    link: Annotated[str, Bounded(max_length=200)]
    spot: Annotated[str, Bounded(min_length=1, max_length=80)]


class Play(RequestBody):
    """Simulated readings: begin or end."""

    what: Literal["start", "stop"]


@dataclass(frozen=True, slots=True)
class Strip:
    """One cause that lasts, with its one action: what is amiss with whom, since when, why, what to do.

    ends : by which tap ("seen", "over", "changed"). spares : another carrier may help, and is there. seen : by
    whom. asks : the question that decides most; answered : somebody has answered it. may_be : causes that it may
    have been, and their words.
    """

    key: str
    id: str
    link: str
    words: str
    since: str
    because: str
    do: str
    ends: str
    spares: bool
    seen: str = ""
    asks: str = ""
    answered: bool = False
    may_be: tuple[tuple[str, str], ...] = ()


def strips(request: Request) -> list[Strip]:
    """What is amiss now: alarms of the watch that last and nobody has seen, then what else is."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    shown = [_strip(snapshot, alarm) for alarm in desk.watching.shown() if alarm.open]
    for amiss in desk.troubles():
        helps = amiss.on_carrier and CAUSES[amiss.cause].spare_helps and _has_spare(snapshot, amiss.id)
        shown.append(
            Strip(
                amiss.key, amiss.id, amiss.link, amiss.words, amiss.since, amiss.because, amiss.do, amiss.ends,
                helps, amiss.seen,
            )
        )  # fmt: skip
    return shown


def _strip(snapshot: Snapshot, alarm: Alarm) -> Strip:
    episode, row = alarm.episode, CAUSES[alarm.episode.cause]
    times = f"{alarm.times} times since" if alarm.times > 1 else "since"
    since = f"{times} {clock_of(snapshot, alarm.since_ns)}, {100 * episode.probability:.0f} % sure"
    return Strip(
        alarm.key, episode.link, snapshot.names.name_of(episode.link), row.words, since, episode.because,
        episode.do, "seen", row.spare_helps and _has_spare(snapshot, episode.link), alarm.acknowledged,
        CAUSES[alarm.asks].asks, alarm.answered,
        tuple((cause.name, cause.words) for cause in CAUSES.values()
              if cause.track == row.track and cause.track is not None),
    )  # fmt: skip


def _has_spare(snapshot: Snapshot, id_: str) -> bool:
    made = snapshot.made
    name = "" if made is None else made.names.name_of(id_)
    return made is not None and any(
        link.link == name and link.spares_khz for call in made.plan.calls for link in call.links
    )


@router.get("/live")
def page(request: Request) -> Response:
    """The page."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    return render(
        request, "live.html", answer=answer(desk, snapshot), tiles=tiles(desk, snapshot), strips=strips(request),
        left=call_left(desk, snapshot), happened=happened(desk.store, snapshot), next_take=next_take(desk.store),
        intake=_came(desk.watching),
        spots=_spots(snapshot, desk.watching.now_ns()),
    )  # fmt: skip


def _spots(snapshot: Snapshot, now_ns: int) -> list[str]:
    """The spots of the sites where calls are on."""
    calls = [] if snapshot.shoot is None else live_calls_at(snapshot.shoot, now_ns)
    return list(dict.fromkeys(spot.name for call in calls for spot in call.site.spots))


def _came(watching: Watching) -> str:
    """What came so far, in words."""
    counts = watching.intake.counts()
    if not counts.taken and not counts.refused:
        return "Nothing has come since these pages were opened."
    lost = f", {counts.lost} lost as too many came at once" if counts.lost else ""
    came = f"Since these pages were opened {counts.taken} came, {counts.refused} were refused{lost}."
    return " ".join([came, *(f"{meter}." for meter in watching.meters())])


@router.get("/live/alarms")
def alarms(request: Request) -> Response:
    """The strips, with the newest answer."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    return render(
        request, "live_alarms.html", answer=answer(desk, snapshot), strips=strips(request),
        left=call_left(desk, snapshot),
    )  # fmt: skip


@router.get("/live/ask")
def ask(request: Request, link: Annotated[str, Query(max_length=200)]) -> Response:
    """What is asked where somebody says that a link is in trouble."""
    snapshot = snapshot_of(request)
    id_ = snapshot.names.id_of("link", link)
    return render(request, "live_ask.html", id=id_, link=snapshot.names.name_of(id_))


@router.post("/log/trouble")
def trouble(request: Request, told: TroubleReport) -> dict[str, Any]:
    """A link is in trouble, told by hand."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    id_ = snapshot.names.id_of("link", told.link)
    answers = told.several, told.level, told.still
    reported = report(desk.store, snapshot, id_, answers, desk.watching.gauges().get(id_), person_of(request).name)
    desk.watching.ask_besides()
    return {"says": [reported.says]}


@router.post("/log/over")
def over(request: Request, seen: AlarmSeen) -> dict[str, Any]:
    """A trouble that was told by hand is over."""
    desk = desk_of(request)
    ended = end(desk.store, snapshot_of(request), seen.key, person_of(request).name)
    desk.watching.ask_besides()
    return {"says": [f"{ended.link}: {ended.words}: over."]}


@router.get("/live/happened")
def happenings(request: Request) -> Response:
    """What happened."""
    told = happened(desk_of(request).store, snapshot_of(request))
    return render(request, "live_happened.html", answer="", happened=told)


@router.get("/api/live")
def state(request: Request) -> dict[str, Any]:
    """Every link as it stands, with its last minute, and what stands on its tile besides."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    rows = desk.watching.rows()
    known = {tile.id: tile for tile in tiles(desk, snapshot)}
    return {
        **rows,
        "tiles": [asdict(known.get(id_, Tile(id_, ""))) for id_ in rows["ids"]],
        "answer": answer(desk, snapshot),
        "left": call_left(desk, snapshot),
    }


@router.post(READINGS_PATH)
async def readings(request: Request) -> dict[str, Any]:
    """Readings as JSON: one record or a list of them."""
    from starlette.concurrency import run_in_threadpool

    taken = await run_in_threadpool(desk_of(request).watching.intake.take, await _body(request, "readings"))
    return taken.document()


@router.post(SWEEPS_PATH)
async def sweeps(request: Request) -> dict[str, Any]:
    """Rows of a sweep while it is made, as JSON: {"rows": text, "source": name, ...}, or a list of them."""
    from starlette.concurrency import run_in_threadpool

    return await run_in_threadpool(desk_of(request).airing.take, await _body(request, "rows"))


async def _body(request: Request, what: str) -> bytes:
    """All that is sent. Raises InputError for too much."""
    data = bytearray()
    async for piece in request.stream():
        data += piece
        if len(data) > MOST_BYTES:
            raise InputError(f"the {what} have more than {MOST_BYTES // 1024 // 1024} MiB; send them in parts")
    return bytes(data)


@router.post("/log/happen")
def happen(request: Request, what: Happened) -> dict[str, Any]:
    """Keep that something happened, now; or when it did, where it waited to be sent."""
    store, text = desk_of(request).store, " ".join(what.text.split())
    if not text:
        raise InputError("there is nothing to keep; type what happened")
    given = request.headers.get("x-once", "")[:80]
    once = f"{person_of(request).device} {given}" if given else ""
    known = once and any(there.data.get("once") == once for there in store.happenings(kinds=[what.kind]))
    if not known:
        data = {"text": text, **({"once": once} if once else {})}
        store.happen(what.kind, what.about, data, None, person_of(request).name)
    return {"says": [f"{text}: kept."], "next_take": next_take(store)}


@router.post("/log/acknowledge")
def acknowledge(request: Request, seen: AlarmSeen) -> dict[str, Any]:
    """Somebody has seen an alarm."""
    desk, who, names = desk_of(request), person_of(request).name, snapshot_of(request).names
    if seen.key.startswith(AIR):
        return {"says": [f"{desk.airing.seen(seen.key, who).capitalize()}."]}
    episode = desk.watching.acknowledge(seen.key, who).episode
    text = f"{words_of(episode.cause)}, acknowledged"
    desk.store.happen("acknowledged", episode.link, {"text": text, "cause": episode.cause}, None, who)
    return {"says": [f"{names.name_of(episode.link)}: {text}."]}


@router.post("/log/answer")
def answer_one(request: Request, given: Answered) -> dict[str, Any]:
    """Somebody answers what an alarm asks: its causes are weighed anew."""
    says = desk_of(request).watching.answer(given.key, given.yes, given.was, person_of(request).name)
    return {"says": [says]}


@router.get("/live/spare")
def spare(request: Request, link: Annotated[str, Query(max_length=200)]) -> Response:
    """The spares of a link, proved now."""
    desk, snapshot = desk_of(request), snapshot_of(request)
    made, watching = snapshot.planned(), desk.watching
    id_ = snapshot.names.id_of("link", link)
    then, now_ns = made.names.name_of(id_), watching.now_ns()
    now = replace(
        watching.now(made), air=desk.airing.on_slot, clock=lambda at_s: clock_of(snapshot, round(at_s * 1e9))
    )
    spares = spares_now(made.scene, made.plan, live_call_at(made.shoot, now_ns, then).name, then, now)
    return render(
        request, "live_spare.html", answer="", id=id_, link=snapshot.names.name_of(id_), spares=spares,
        sweep_age=sweep_age(desk.store, snapshot), at=clock_of(snapshot, now_ns),
    )  # fmt: skip


@router.post("/live/level")
def level(request: Request, here: LevelHere) -> dict[str, Any]:
    """Keep the level of the last seconds as measured at a spot: from then on it outranks the model there."""
    says, change = measure(desk_of(request), snapshot_of(request), here.link, here.spot, person_of(request).name)
    return {"says": [says], "change": change.revision}


@router.post("/live/try")
def try_it(request: Request, play: Play) -> dict[str, Any]:
    """Play simulated readings, or stop."""
    desk = desk_of(request)
    if play.what == "stop":
        desk.playing.stop()
        return {"says": ["Stopped."]}
    desk.playing.start(snapshot_of(request).made)
    return {"says": ["Simulated readings are coming in; all of it is invented."]}
