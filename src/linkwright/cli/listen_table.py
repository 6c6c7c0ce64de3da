"""What `linkwright listen` prints for people."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from linkwright.cli.output import print_table
from linkwright.lengths import clock
from linkwright.units import counted

if TYPE_CHECKING:
    from rich.console import Console

#: Faults of a track that are listed one by one.
LISTED: Final = 20
COLUMNS: Final = ("track", "length", "LUFS", "mom.", "short", "range", "peak", "floor", "voice", "cut", "faults")
PAIR_COLUMNS: Final = ("track", "track", "later", "metres", "to agree", "polarity", "drift ppm", "jumps", "notch")
STEP_COLUMNS: Final = ("step", "pauses", "loudest", "voice")
GAIN_COLUMNS: Final = ("attenuation", "peak", "noise", "over noise", "")
VOICE_COLUMNS: Final = ("voice", "m", *GAIN_COLUMNS)
PICTURE_COLUMNS: Final = ("track", "before the picture, ms", "ITU-R BT.1359-1", "EBU R 37")
SYNC: Final = {"unnoticed": "not noticed", "noticed": "noticed, accepted", "too far": "not accepted"}


def print_listen(document: dict[str, Any], out: Console) -> None:
    """A sentence on top, a row for each track, then the faults and what to know of the low cut."""
    from linkwright.sound.findings import gravest

    tracks = document["tracks"]
    for line in (*gravest(document), _sentence(tracks)):
        out.print(line, style="bold")
    for file in document["files"]:
        out.print(_file_line(file))
    print_table(out, COLUMNS, [_row(track) for track in tracks], right=COLUMNS[1:-1])
    out.print(
        "LUFS: integrated, momentary and short-term maximum; range in LU; true peak in dBTP; floor in dBFS rms; "
        "voice (median of its fundamental) and low cut in Hz."
    )
    _print_pairs(document["pairs"], out)
    _print_picture(document.get("picture"), out)
    for track in tracks:
        _print_faults(track, out)
        _print_low_cut(track, out)
        out.print(f"{_name(track)}: {track['intelligibility']['says']}")
        if track["room_tone"] is not None:
            tone = track["room_tone"]
            out.print(f"{_name(track)}: room tone: {tone['length_s']:.0f} s from {clock(tone['at_s'])[:-4]} on.")
    _print_gain(document.get("gain"), out)
    if any(track["low_cut"] is not None for track in tracks):
        out.print(
            "low cut: dB that each step takes from the pauses, from what is loudest under the voice, and from the "
            "voice at its lowest partial."
        )


def _sentence(tracks: list[dict[str, Any]]) -> str:
    from linkwright.sound.kinds import KINDS

    faults = [f for track in tracks for f in track["faults"] if KINDS[f["kind"]].fault]
    certain, suspects = sum(f["certain"] for f in faults), sum(not f["certain"] for f in faults)
    first = "No certain fault" if not certain else counted(certain, "certain fault")
    and_so = counted(suspects, "suspect") if suspects else "no suspects"
    return f"{first} and {and_so} in {counted(len(tracks), 'track')}."


def _file_line(file: dict[str, Any]) -> str:
    parts = [
        f"{file['path']}: {file['format']}, {file['rate_hz']} Hz, "
        f"{file['tracks']} track{'s' * (file['tracks'] > 1)}"
    ]
    if file["starts_at_s"] is not None:
        parts.append(f"begins at {clock(file['starts_at_s'])} {file['date']}".rstrip())
    if file["programme"] is not None and file["tracks"] > 1:
        parts.append(f"together {_number(file['programme']['integrated_lufs'])} LUFS")
    return "; ".join(parts)


def _row(track: dict[str, Any]) -> tuple[str, ...]:
    kinds = Counter(f["kind"] + ("" if f["certain"] else "?") for f in track["faults"])
    levels = (
        "integrated_lufs", "momentary_max_lufs", "short_term_max_lufs", "range_lu", "true_peak_dbtp",
        "noise_floor_dbfs",
    )  # fmt: skip
    return (
        _name(track),
        clock(track["length_s"])[:-4],
        *(_number(track[key]) for key in levels),
        "-" if track["voice_f0_hz"] is None else f"{track['voice_f0_hz']:.0f}",
        "-" if track["low_cut_hz"] is None else "off" if not track["low_cut_hz"] else f"{track['low_cut_hz']:.0f}",
        ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())) or "none",
    )


def _print_faults(track: dict[str, Any], out: Console) -> None:
    from linkwright.sound.kinds import MOMENTS

    listed = [f for f in track["faults"] if f["kind"] in MOMENTS]
    listed.sort(key=lambda fault: not fault["certain"])  # nobody has to look for what is certain
    for fault in listed[:LISTED]:
        sure = "certain" if fault["certain"] else "suspect"
        out.print(f"  {_name(track)}  {clock(fault['at_s'])}  {_said(fault)}, {sure}")
    if len(listed) > LISTED:
        out.print(f"  {_name(track)}: {len(listed) - LISTED} more, all in --json.")


def _print_low_cut(track: dict[str, Any], out: Console) -> None:
    """The step, why, and what every step takes and costs."""
    cut = track["low_cut"]
    if cut is None:
        return
    out.print(f"{_name(track)}: low cut {_step(track['low_cut_hz'])}: {cut['because']}.")
    rows = [
        (_step(step["corner_hz"]), *(f"{step[key]:.1f}" for key in ("pauses_db", "loudest_db", "voice_db")))
        for step in cut["steps"]
    ]
    print_table(out, STEP_COLUMNS, rows, right=STEP_COLUMNS)


def _print_gain(gain: dict[str, Any] | None, out: Console) -> None:
    """Every step of the attenuation as the loudest minute would be with it, then the talker's other voices."""
    if gain is None:
        return
    out.print(gain["says"], style="bold")
    rows = [_gain_row(step, "chosen" if step == gain["chosen"] else "") for step in gain["steps"]]
    print_table(out, GAIN_COLUMNS, rows, right=GAIN_COLUMNS[:-1])
    voices = [
        (voice["voice"], f"{voice['mouth_m']:g}", *_gain_row(voice["step"], "" if voice["holds"] else "too loud"))
        for voice in gain["voices"]
    ]
    print_table(out, VOICE_COLUMNS, voices, right=VOICE_COLUMNS[1:-1])
    out.print("gain: attenuation in dB, peak and noise in dBFS at the converter, voice over noise in dB.")


def _gain_row(step: dict[str, Any], mark: str) -> tuple[str, ...]:
    levels = (f"{step[key]:.1f}" for key in ("peak_dbfs", "noise_dbfs", "voice_over_noise_db"))
    return (f"{step['attenuation_db']:g}", *levels, mark)


def _step(corner_hz: float) -> str:
    return f"{corner_hz:.0f} Hz" if corner_hz else "off"


def _said(fault: dict[str, Any]) -> str:
    """What it is and how long; regular clicks with their period, and the track that speaks for a suspect."""
    if "every_s" in fault:
        return f"clicks every {fault['every_s']:.3f} s for {fault['length_s']:.0f} s: two clocks that do not agree"
    said = f"{fault['kind']} {1000 * fault['length_s']:.1f} ms"
    return f"{said}, while {_short(fault['other_track'])} goes on" if "other_track" in fault else said


def _print_pairs(pairs: list[dict[str, Any]], out: Console) -> None:
    """A row for each pair of tracks, then the jumps, and what could not be told."""
    if not pairs:
        return
    print_table(out, PAIR_COLUMNS, [_pair_row(pair) for pair in pairs], right=PAIR_COLUMNS[2:])
    out.print(
        "later: how much the second track comes later, ms; metres: the same as a way through air; to agree: ms of "
        "delay to set, and on which; notch: where a mix of both cancels first, Hz, and how deep, dB."
    )
    for pair in pairs:
        name = f"{_short(pair['a'])}, {_short(pair['b'])}"
        for jump in (pair["jumps"] or [])[:LISTED]:
            other = pair["a"] if jump["lost"] == pair["b"] else pair["b"]
            many = f"{jump['samples']} sample{'s' * (jump['samples'] > 1)}"
            out.print(
                f"  {name}  {clock(jump['at_s'])}  {_short(jump['lost'])} lost {many}, or {_short(other)} said "
                "them twice"
            )
        if pair["why"] is not None and pair["delay_ms"] is not None:
            out.print(f"  {name}: not told: {pair['why']}.")


def _pair_row(pair: dict[str, Any]) -> tuple[str, ...]:
    names = (_short(pair["a"]), _short(pair["b"]))
    if pair["delay_ms"] is None:
        return (*names, "-", "-", pair["why"] or "-", "-", "-", "-", "-")
    drift = "-" if pair["drift_ppm"] is None else f"{pair['drift_ppm']:+.2f}"
    polarity = {True: "inverted", False: "alike", None: "-"}[pair["inverted"]]
    notch = "-" if pair["notch_hz"] is None else f"{pair['notch_hz']:.0f} ({pair['notch_db']:.0f})"
    jumps = "-" if pair["jumps"] is None else str(len(pair["jumps"]))
    agree = f"{pair['set_delay_ms']:.3f} on {_short(pair['set_delay_on'])}"
    return (*names, f"{pair['delay_ms']:+.3f}", f"{pair['distance_m']:.2f}", agree, polarity, drift, jumps, notch)


def _print_picture(picture: dict[str, Any] | None, out: Console) -> None:
    """Every track against the picture."""
    if picture is None:
        return
    rows = [
        (
            _short(row["track"]),
            f"{row['sound_early_ms']:+.1f}",
            SYNC[row["sync"]],
            "keeps" if row["keeps_ebu_r37"] else "does not keep",
        )
        for row in picture["tracks"]
    ]
    print_table(out, PICTURE_COLUMNS, rows, right=PICTURE_COLUMNS[1:2])


def _short(track: str) -> str:
    path, channel = track.rsplit(":", 1)
    return f"{Path(path).name}:{channel}"


def _name(track: dict[str, Any]) -> str:
    return f"{Path(track['path']).name}:{track['channel']}"


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"
