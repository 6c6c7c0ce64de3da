"""How much of what is planted in speech `listen` names, and what it tells wrongly: the table of docs/sound.md.

    python -m bench.listen_named [FOLDER]

FOLDER is where Debian's packages lie, "/" or a folder where they were unpacked: tuxpaint-stamps-default (spoken
names, Vorbis at 44.1 kHz), klettres-data (letters and syllables, Vorbis), asterisk-core-sounds-it-wav and -ru-wav
(prompts, 8 kHz), asterisk-moh-opsound-wav (music, 8 kHz). The thresholds were set with other clips: Debian's
pocketsphinx-testdata, asterisk-core-sounds-en-wav, and of tuxpaint-stamps-default the languages ca, fr and ru; of
klettres-data nothing but en was looked at, and lt for filled gaps; the music was looked at. Clips of one language
are laid one after the other with pauses over a room tone of -65 dBFS, voice at -26 dBFS, 48 kHz. A fault counts as
found where one of its kind is told within 3 ms of it, or anywhere in the track where it has no moment.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import count
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from linkwright.sound.fault import Fault
from linkwright.sound.kinds import KINDS
from linkwright.sound.listen import TrackListener
from linkwright.sound.pairs import compare
from linkwright.sound.recordings import open_recording

Floats = NDArray[np.float64]
Planted = tuple[Floats, list[tuple[int, int]]]
Plant = Callable[[Floats, np.random.Generator], Planted]
Change = Callable[[Floats, np.random.Generator], Floats]
Fill = Callable[[Floats, int, int, np.random.Generator], Floats]
RATE = 48_000
VOICE_DBFS, ROOM_DBFS = -26.0, -65.0
LANGUAGES = {
    "tuxpaint-stamps-default": ("bg", "el", "es", "ro", "be", "da"),
    "klettres-data": ("da", "hu", "lt", "ml", "pt_BR", "uk"),
    "asterisk-core-sounds": ("it", "ru"),
}
TAKE_S = 120.0
NEAR = round(0.003 * RATE)


def clips(folder: Path, package: str, language: str) -> list[Path]:
    """The clips of one language of a package."""
    if package == "tuxpaint-stamps-default":
        return shared(folder, f"tuxpaint/stamps/**/*_desc_{language}.ogg")
    if package == "klettres-data":
        return shared(folder, f"klettres/{language}/**/*.ogg")
    found = shared(folder, f"asterisk/sounds/{language}_*/**/*.wav")
    return [path for path in found if "silence" not in path.parts]


def shared(folder: Path, pattern: str) -> list[Path]:
    """Files under usr/share of the folder, or of the packages that were unpacked there."""
    roots = [one / "usr" / "share" for one in (folder, *folder.iterdir())]
    return sorted(path for root in roots if root.is_dir() for path in root.glob(pattern))


def samples(path: Path) -> Floats:
    """A clip or a piece of music, mono at 48 kHz."""
    from scipy.signal import resample_poly

    read, rate = soundfile.read(str(path), dtype="float64", always_2d=True)
    by = Fraction(RATE, rate)
    return np.asarray(resample_poly(read.mean(axis=1), by.numerator, by.denominator))


def level(dbfs: float) -> float:
    """The rms that reads so much (AES17)."""
    return float(10.0 ** ((dbfs - 3.01) / 20.0))


def room(size: int, rng: np.random.Generator, dbfs: float = ROOM_DBFS) -> Floats:
    """Noise of a room: it falls by 6 dB an octave from 800 Hz on."""
    from scipy.signal import lfilter

    noise = lfilter([1.0], [1.0, -0.9], rng.standard_normal(size))
    return np.asarray(noise * level(dbfs) / noise.std())


def take(paths: list[Path], seconds: float, seed: int) -> Floats:
    """Clips in any order, at the voice's level but for 2 dB, faded in and out, with pauses of 0.3 to 1.2 s."""
    rng = np.random.default_rng(seed)
    parts, have = [], 0
    while have < seconds * RATE:
        for at in rng.permutation(len(paths)):
            x = samples(paths[int(at)])
            if x.size < 0.4 * RATE or x.std() < 1e-4:
                continue
            x = (x - x.mean()) * level(VOICE_DBFS + rng.uniform(-2.0, 2.0)) / spoken_rms(x)
            x *= min(1.0, 0.5 / np.abs(x).max())
            fade = np.linspace(0.0, 1.0, round(0.03 * RATE))
            x[: fade.size] *= fade
            x[-fade.size :] *= fade[::-1]
            parts += [x, np.zeros(round(rng.uniform(0.3, 1.2) * RATE))]
            have += x.size + parts[-1].size
            if have >= seconds * RATE:
                break
    whole = np.concatenate(parts)[: round(seconds * RATE)]
    return whole + room(whole.size, rng)


def spoken_rms(x: Floats) -> float:
    """The rms of the tenths of a second within 15 dB of the loudest."""
    power = (x[: x.size // 4800 * 4800].reshape(-1, 4800) ** 2).mean(axis=1)
    return float(np.sqrt(power[power > power.max() / 10.0**1.5].mean()))


def places(x: Floats, long: int, over_db: float | None, rng: np.random.Generator) -> Iterator[int]:
    """Where faults of `long` samples go, 0.8 s and more apart; with sound so far over the room on both sides."""
    at, side = RATE, round(0.02 * RATE)
    while at + long < x.size - RATE:
        beside = min(x[at - side : at].std(), x[at + long : at + long + side].std())
        if over_db is None or beside > level(ROOM_DBFS + over_db):
            yield at
            at += round(rng.uniform(0.8, 1.2) * RATE) + long
        else:
            at += round(0.03 * RATE)


def cut(fill: Fill, over_db: float = 25.0, long_s: tuple[float, float] = (0.002, 0.03)) -> Plant:
    """Plants stretches in place of the sound."""

    def plant(x: Floats, rng: np.random.Generator) -> Planted:
        x, found = x.copy(), []
        for at in places(x, round(long_s[1] * RATE), over_db, rng):
            long = round(rng.uniform(*long_s) * RATE)
            x[at : at + long] = fill(x, at, long, rng)
            found.append((at, at + long))
        return x, found

    return plant


def laid(make: Callable[[int, np.random.Generator], Floats], long_s: tuple[float, float]) -> Plant:
    """Plants sounds over it, in words and pauses."""

    def plant(x: Floats, rng: np.random.Generator) -> Planted:
        x, found = x.copy(), []
        for at in places(x, round(long_s[1] * RATE), None, rng):
            long = round(rng.uniform(*long_s) * RATE)
            x[at : at + long] += make(long, rng)
            found.append((at, at + long))
        return x, found

    return plant


def whole(change: Change) -> Plant:
    """Changes all of the track; it is found where its kind is told at all."""
    return lambda x, rng: (change(x, rng), [(0, x.size)])


def radio_noise(long: int, rng: np.random.Generator) -> Floats:
    """Noise up to 15 kHz, as a receiver gives it, 10 dB under the voice."""
    from scipy.signal import butter, sosfilt

    noise = sosfilt(butter(4, 15_000.0, fs=RATE, output="sos"), rng.standard_normal(long + 480))[480:]
    return np.asarray(noise * level(VOICE_DBFS - 10.0))


def low(size: int, rng: np.random.Generator, highest_hz: float) -> Floats:
    from scipy.signal import butter, sosfilt

    noise = sosfilt(butter(2, (8.0, highest_hz), "bandpass", fs=RATE, output="sos"), rng.standard_normal(size))
    return np.asarray(noise / noise.std())


def gust(long: int, rng: np.random.Generator) -> Floats:
    """Two thirds of a second and more of wind, 5 dB over the voice at its height."""
    return np.asarray(low(long, rng, 60.0) * np.hanning(long) * level(VOICE_DBFS + 5.0))


def tone(hertz: float, dbfs: float) -> Change:
    return lambda x, _: x + 10.0 ** (dbfs / 20.0) * np.sin(2.0 * np.pi * hertz * np.arange(x.size) / RATE)


def dimmer(x: Floats, _: np.random.Generator) -> Floats:
    """Half waves of 50 Hz cut on at 90 degrees, -50 dBFS at most."""
    turn = np.arange(x.size) * 100.0 / RATE % 1.0
    return np.asarray(x + 3e-3 * np.where(turn > 0.5, np.sin(np.pi * turn), 0.0))


def falling(x: Floats, _: np.random.Generator) -> Floats:
    return np.asarray(x * 10.0 ** (-np.interp(np.arange(x.size) / x.size, (0.4, 0.8), (0.0, 20.0)) / 20.0))


def crackle(long: int, rng: np.random.Generator) -> Floats:
    """A plug: 12 to 40 clicks a second of -30 to -20 dBFS at no period, each over in a tenth of a millisecond."""
    found = np.zeros(long)
    for at in rng.integers(0, long - 8, round(long / RATE * rng.uniform(12.0, 40.0))):
        found[at : at + 8] += (
            rng.choice([-1.0, 1.0]) * 10.0 ** (rng.uniform(-30.0, -20.0) / 20.0) * 0.5 ** np.arange(8)
        )
    return found


def knocks(long: int, rng: np.random.Generator) -> Floats:
    """A hand: 3 to 5 knocks a second, 10 dB over the voice."""
    found, at, n = np.zeros(long), 0, round(0.1 * RATE)
    while at + n < long:
        found[at : at + n] = np.hanning(n) * np.sin(np.arange(n) / RATE * 250.0) * level(VOICE_DBFS + 15.0)
        at += round(rng.uniform(0.2, 0.33) * RATE)
    return found


def cloth(long: int, rng: np.random.Generator) -> Floats:
    """Noise of 200 Hz to 12 kHz that falls by 3 dB an octave and swells often, 5 dB under the voice."""
    spectrum, hertz = np.fft.rfft(rng.standard_normal(long)), np.fft.rfftfreq(long, 1.0 / RATE)
    spectrum *= np.where((hertz > 200.0) & (hertz < 12_000.0), 1.0 / np.sqrt(np.maximum(hertz, 1.0)), 0.0)
    swells = np.interp(np.arange(long), np.linspace(0, long, 2 + long * 8 // RATE), 10.0 ** rng.uniform(
        -0.75, 0.0, 2 + long * 8 // RATE))  # fmt: skip
    noise = np.fft.irfft(spectrum, long) * swells
    return np.asarray(noise / noise.std() * level(VOICE_DBFS - 5.0))


#: What is planted, the kind that has to be told, and how it is said in the table.
PLANTS: tuple[tuple[str, str, Plant], ...] = (
    ("mute of 2 to 30 ms", "mute", cut(lambda _x, _a, n, _r: np.zeros(n))),
    ("held sample, 2 to 30 ms", "hold", cut(lambda x, a, n, _r: np.full(n, x[a - 1]))),
    ("repeat, exact, 2 to 30 ms", "repeat", cut(lambda x, a, n, _r: x[a - n : a].copy())),
    *(
        (f"gap of {ms} ms filled with the room's noise", "hole",
         cut(lambda _x, _a, n, r: room(n + 100, r)[100:], 15.0, (ms / 1000.0, ms / 1000.0)))
        for ms in (5, 20, 50, 100, 200)
    ),
    ("burst of noise to 15 kHz, 3 ms, 10 dB under the voice", "burst", laid(radio_noise, (0.003, 0.003))),
    ("the same, 10 to 300 ms", "burst", laid(radio_noise, (0.01, 0.3))),
    ("click of one sample, -30 dBFS", "click",
     laid(lambda n, _: np.full(n, 10.0 ** (-30.0 / 20.0)), (1 / RATE, 1 / RATE))),
    ("crackling, 1 to 3 s", "crackle", laid(crackle, (1.0, 3.0))),
    ("knocks for 2 to 4 s", "handling", laid(knocks, (2.0, 4.0))),
    ("rustling while nobody talks, 1 to 3 s", "rustle",
     cut(lambda _x, _a, n, r: room(n, r) + cloth(n, r), 15.0, (1.0, 3.0))),
    ("gust, 5 dB over the voice", "wind", laid(gust, (0.7, 2.0))),
    ("knock of 100 ms, 10 dB over the voice", "pop",
     laid(lambda n, _: np.hanning(n) * np.sin(np.arange(n) / RATE * 250.0) * level(VOICE_DBFS + 15.0), (0.1, 0.1))),
    ("rumble at the voice's level", "rumble", whole(lambda x, r: x + low(x.size, r, 40.0) * level(VOICE_DBFS))),
    ("50 Hz at -55 dBFS", "hum", whole(tone(50.0, -55.0))),
    ("3 kHz at -65 dBFS", "tone", whole(tone(3000.0, -65.0))),
    ("dimmer at -50 dBFS", "buzz", whole(dimmer)),
    ("DC of 0.02", "dc", whole(lambda x, _: x + 0.02)),
    ("clipped at -15 dBFS, then 10 dB down", "clip",
     whole(lambda x, _: 0.316 * np.clip(x, -level(-15.0), level(-15.0)))),
    ("soft clipping, 0.2 tanh(10 x)", "limited", whole(lambda x, _: 0.2 * np.tanh(10.0 * x))),
    ("level that falls by 20 dB", "falling", whole(falling)),
    ("dead from the middle on", "dead", whole(lambda x, _: np.where(np.arange(x.size) < x.size // 2, x, 0.0))),
)  # fmt: skip


def heard(x: Floats) -> list[Fault]:
    """What is told of a track of 24 bits."""
    listener, block = TrackListener(RATE), 109 * RATE // 10
    whole_numbers = np.clip(np.round(x * 8388608.0), -8388608, 8388607)
    track = np.asarray(whole_numbers / 8388608.0, np.float32)
    for at in range(0, track.size, block):
        listener.add(track[at : at + block])
    return list(listener.finish(1).faults)


def near(fault: Fault, place: tuple[int, int]) -> bool:
    return fault.at < place[1] + NEAR and fault.at + fault.length > place[0] - NEAR


def by_kind(takes: list[Floats]) -> dict[str, Counter[str]]:
    """What was planted and found, told elsewhere of the same kind, and certain faults told elsewhere, by plant."""
    rows = {}
    for number, (says, kind, plant) in enumerate(PLANTS):
        total = rows[f"{says} | {kind}"] = Counter[str]()
        for seed, clean in enumerate(takes):
            x, where = plant(clean, np.random.default_rng([number, seed]))
            faults = [one for one in heard(x) if KINDS[one.kind].fault]
            total["planted"] += len(where)
            total["found"] += sum(
                any(fault.kind == kind and near(fault, place) for fault in faults) for place in where
            )
            away = [fault for fault in faults if not any(near(fault, place) for place in where)]
            total["wrong"] += sum(one.kind == kind for one in away)
            total["wrong certain"] += sum(one.certain for one in away)
    return rows


def of_pairs(takes: list[Floats]) -> dict[str, Counter[str]]:
    """Polarity and lost samples between two tracks, the second 0.8 ms later with noise of its own."""
    rng, rows = np.random.default_rng(1), {}
    with tempfile.TemporaryDirectory() as folder:
        for what in ("alike", "turned over", "turned over midway", "300 samples lost"):
            kind = "lost" if "lost" in what else "turned" if "turned" in what else "nothing"
            total = rows[f"pair: {what} | {kind}"] = Counter[str]()
            for clean in takes:
                other = np.concatenate((np.zeros(40), clean[:-40])) + room(clean.size, rng, -70.0)
                at = round(rng.uniform(0.3, 0.7) * clean.size)
                if what == "turned over":
                    other = -other
                elif what == "turned over midway":
                    other[at:] *= -1.0
                elif what == "300 samples lost":
                    other = np.concatenate((other[:at], other[at + 300 :], np.zeros(300)))
                path = Path(folder) / "two.wav"
                soundfile.write(str(path), np.stack((clean, other), axis=1), RATE, subtype="PCM_24")
                (pair,) = compare([open_recording(path)])
                turned = [abs(one - at / RATE) < 1.0 for one in pair.turns_at_s] == [True]
                lost = [(one.samples, one.lost) for one in pair.jumps or ()]
                total["planted"] += 1
                total["found"] += {
                    "alike": pair.inverted is False and not lost and not pair.turns_at_s,
                    "turned over": pair.inverted is True and not lost,
                    "turned over midway": turned and not lost,
                    "300 samples lost": lost == [(300, "b")] and not pair.turns_at_s,
                }[what]
    return rows


def clean(folder: Path, hours: float) -> None:
    """What is told an hour in clean speech, music and room tone."""
    told: dict[str, Counter[str]] = {"speech": Counter(), "music": Counter(), "room tone": Counter()}
    seconds: Counter[str] = Counter()

    def add(what: str, x: Floats) -> None:
        seconds[what] += round(x.size / RATE)
        told[what].update(f"{f.kind}{'' if f.certain else '?'}" for f in heard(x) if KINDS[f.kind].fault)

    paths = [clips(folder, package, one) for package, all_of in LANGUAGES.items() for one in all_of]
    for seed in count():
        if seconds["speech"] >= 0.7 * 3600.0 * hours:
            break
        add("speech", take(paths[seed % len(paths)], 300.0, 100 + seed))
    for path in shared(folder, "asterisk/moh/*.wav"):
        add("music", samples(path) + room(samples(path).size, np.random.default_rng(3), -80.0))
    for seed in count():
        if sum(seconds.values()) >= 3600.0 * hours:
            break
        rng = np.random.default_rng([4, seed])
        add("room tone", room(600 * RATE, rng, rng.uniform(-75.0, -40.0)))
    print("| clean | hours | certain | suspects |")
    print("| --- | --- | --- | --- |")
    for what, kinds in told.items():
        certain = ", ".join(f"{n} {kind}" for kind, n in sorted(kinds.items()) if not kind.endswith("?")) or "0"
        suspects = ", ".join(f"{n} {kind[:-1]}" for kind, n in sorted(kinds.items()) if kind.endswith("?")) or "0"
        print(f"| {what} | {seconds[what] / 3600.0:.1f} | {certain} | {suspects} |", flush=True)


def main(folder: Path) -> None:
    """Print the tables: of what is planted, a column of numbers for each package, and of what is clean."""
    columns = []
    for package, languages in LANGUAGES.items():
        takes = [take(clips(folder, package, one), TAKE_S, seed) for seed, one in enumerate(languages[:2])]
        columns.append(by_kind(takes) | of_pairs(takes))
    print("| planted | told as | found, of | told of the kind elsewhere | certain elsewhere |")
    print("| --- | --- | --- | --- | --- |")
    for row in columns[0]:
        found = " / ".join(f"{column[row]['found']} of {column[row]['planted']}" for column in columns)
        wrong, certain = (
            " / ".join(str(column[row][key]) for column in columns) for key in ("wrong", "wrong certain")
        )
        print(f"| {row} | {found} | {wrong} | {certain} |")
    print()
    clean(folder, 10.0)


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "/"))
