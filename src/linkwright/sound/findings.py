"""What is wrong with recordings, in sentences, the gravest first: what, how sure, where, and what to do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from linkwright.lengths import clock
from linkwright.sound.kinds import KINDS, gravity
from linkwright.units import counted, minus

#: So many such sentences are told.
MOST_TOLD: Final = 20
#: A drift is told where it comes to this over what both tracks have [ms]: half a frame of film, about (own choice).
DRIFTED_MS: Final = 20.0
#: Files whose times differ by more are to be moved [ms]; no path is so long.
MOVED_MS: Final = 1000.0
#: Tracks lie the other way round where what is the same in those of other numbers stands out so much more clearly.
CROSSED: Final = 1.6

Told = dict[str, Any]


def told(document: dict[str, Any]) -> list[Told]:
    """The faults of a document of `sound.report`: each kind once a track, a pair or a set of files.

    Each has `kind`, `certain`, `where` (names), `at_s` (None: all the time), `says` and `do` (sentences).
    """
    everything = [*_of_files(document["files"]), *_of_pairs(document), *_of_two_files(document["pairs"])]
    for track in document["tracks"]:
        everything += _of_track(track)
    return sorted(everything, key=lambda fault: (not fault["certain"], gravity(fault["kind"])))


def gravest(document: dict[str, Any]) -> list[str]:
    """The same as lines for people, at most `MOST_TOLD` of them."""
    lines = [f"{line['says']} {line['do']}" for line in document["told"]]
    more = [f"And {len(lines) - MOST_TOLD} more of the kind."] if len(lines) > MOST_TOLD else []
    return lines[:MOST_TOLD] + more


def _fault(kind: str, certain: bool, where: list[str], at_s: float | None, says: str, do: str = "") -> Told:
    return {
        "kind": kind, "certain": certain, "where": where, "at_s": at_s, "says": minus(says),
        "do": do or KINDS[kind].do,
    }  # fmt: skip


def _of_track(track: dict[str, Any]) -> Iterator[Told]:
    name = _track_name(track)
    for kind in KINDS.values():
        faults = [fault for fault in track["faults"] if fault["kind"] == kind.name and kind.fault]
        certain = [fault for fault in faults if fault["certain"]]
        telling = certain or (faults if kind.first else [])
        if not telling:
            continue
        first, sure = telling[0], bool(certain)
        at_s = first["at_s"] if kind.of == "moment" or first["at_s"] else None
        yield _fault(
            kind.name,
            sure,
            [name],
            at_s,
            f"{name} {_said(track, kind.name, telling, sure)}.",
            _do(track, kind.name),
        )


def _said(track: dict[str, Any], kind: str, faults: list[dict[str, Any]], sure: bool) -> str:
    """What a track has or is, behind its name."""
    row, first = KINDS[kind], faults[0]
    if kind == "dead":
        peak = track["sample_peak_dbfs"]
        level = "digital silence" if peak is None else f"it peaks at {peak:.0f} dBFS"
        return f"is dead from {_at(first)} on" if first["at_s"] else f"is dead from begin to end, {level}"
    if kind == "dc":
        return f"stands {track['dc']:+.2f} off zero"
    levels = [fault["level_db"] for fault in faults if fault.get("level_db") is not None]
    level = f", {row.level.format(max(levels))}" if levels else ""
    hertz = f" of {first['hz']:g} Hz" if "hz" in first else ""
    if row.of == "track":
        since = f" from {_at(first)} on" if first["at_s"] else ""
        return f"has {row.words}{hertz}{level}{since}{'' if sure else ' (suspect)'}"
    many = f"one {row.words}" if len(faults) == 1 else f"{len(faults)} {row.many}"
    first_at = "at" if len(faults) == 1 else "the first at"
    return f"has {many}{level}, {first_at} {_at(first)}{'' if sure else ' (suspect)'}"


def _do(track: dict[str, Any], kind: str) -> str:
    """What to do where the track itself tells more than the row of the kind; else ""."""
    if kind in ("rumble", "wind") and track["low_cut_hz"]:
        step = next(
            cut_step for cut_step in track["low_cut"]["steps"] if cut_step["corner_hz"] == track["low_cut_hz"]
        )
        takes = f"a low cut of {track['low_cut_hz']:.0f} Hz takes {step['loudest_db']:.0f} dB of it"
        return f"{KINDS[kind].do[:-1]}: {takes} and {step['voice_db']:.1f} dB of the voice at its lowest."
    return ""


def _of_pairs(document: dict[str, Any]) -> Iterator[Told]:
    lengths = {file["path"]: file["length_s"] for file in document["files"]}
    for pair in document["pairs"]:
        a, b = _base(pair["a"]), _base(pair["b"])
        if pair["inverted"]:
            yield _fault("turned", True, [a, b], None, f"{a} and {b}: one is turned over.")
        for at_s in pair["turns_at_s"] or []:
            yield _fault("turned", True, [a, b], at_s, f"{a} and {b}: one turns over at {clock(at_s)[:-4]}.")
        jumps = pair["jumps"] or []
        for of, name in ((pair["a"], a), (pair["b"], b)):
            mine = [jump for jump in jumps if jump["lost"] == of]
            if mine:
                again = "" if len(mine) == 1 else f", and {counted(len(mine) - 1, 'more time')}"
                says = (
                    f"{name} lost {counted(mine[0]['samples'], 'sample')} at {clock(mine[0]['at_s'])[:-4]}{again}."
                )
                yield _fault("lost", True, [name], mine[0]["at_s"], says)
        long_s = min(lengths[pair[side].rsplit(":", 1)[0]] for side in ("a", "b"))
        low, high = pair["drift_from_ppm"], pair["drift_to_ppm"]
        drifted_ms = abs(pair["drift_ppm"] or 0.0) * long_s / 1000.0
        if drifted_ms >= DRIFTED_MS and low is not None and low * high > 0.0:
            late = "later and later" if pair["drift_ppm"] > 0.0 else "earlier and earlier"
            says = f"{b} comes {late} against {a}: {drifted_ms:.0f} ms over {clock(long_s)[:-4]}."
            yield _fault("drift", True, [a, b], None, says)


def _of_two_files(pairs: list[dict[str, Any]]) -> Iterator[Told]:
    """Files that do not begin when they are said to, and those whose tracks lie the other way round."""
    by: dict[tuple[str, str], dict[tuple[str, str], dict[str, Any]]] = {}
    for pair in pairs:
        (a, channel), (b, two) = (pair[side].rsplit(":", 1) for side in ("a", "b"))
        if a != b and pair["quality"] is not None:
            by.setdefault((a, b), {})[channel, two] = pair
    for (a_path, b_path), heard in by.items():
        a, b = _base(a_path), _base(b_path)
        clearest = max(heard.values(), key=lambda pair: float(pair["quality"]))
        apart_ms = clearest["delay_ms"]
        if abs(apart_ms) > MOVED_MS:
            late, way = ("later", "earlier") if apart_ms > 0.0 else ("earlier", "later")
            by_s = f"{abs(apart_ms) / 1000.0:.3f} s"
            says = f"What is heard in {a} comes {by_s} {late} in {b} than their times say."
            yield _fault(
                "apart", True, [a, b], None, says, f"Move {b} {by_s} {way}; look at its clock and time code."
            )
        straight, crossed = (
            [heard[key]["quality"] if key in heard else 0.0 for key in keys]
            for keys in ((("1", "1"), ("2", "2")), (("1", "2"), ("2", "1")))
        )
        if min(crossed) > CROSSED * max(straight):
            says = f"Tracks 1 and 2 of {a} are tracks 2 and 1 of {b}."
            yield _fault("swapped", not any(straight), [a, b], None, says)


def _of_files(files: list[dict[str, Any]]) -> Iterator[Told]:
    for file in files:
        name = _base(file["path"])
        if file["torn_s"] is not None:
            said_s, is_s = file["torn_s"]
            more = "less" if said_s > is_s else "more"
            says = f"{name} holds {is_s:.1f} s, {more} than the {said_s:.1f} s that its header tells."
            if not said_s:
                says = f"{name} holds {is_s:.1f} s, though its header was never finished."
            yield _fault("torn", True, [name], None, says)
    rates = sorted({file["rate_hz"] for file in files})
    if len(rates) > 1:
        names = [_base(file["path"]) for file in files]
        says = f"The files have different sample rates: {', '.join(f'{rate} Hz' for rate in rates)}."
        yield _fault("rates", True, names, None, says)


def _at(fault: dict[str, Any]) -> str:
    return clock(fault["at_s"]) if KINDS[fault["kind"]].of == "moment" else clock(fault["at_s"])[:-4]


def _track_name(track: dict[str, Any]) -> str:
    return f"{_base(track['path'])}:{track['channel']}"


def _base(name: str) -> str:
    """A name without its folder."""
    return name.replace("\\", "/").rsplit("/", 1)[-1]
