"""Mutated inputs over every reader, bounds checked, with little memory: a result or one sentence, in time.

Seeds are what the program writes itself, the demo, and what the tests read; a mutation cuts, repeats, splices,
flips, and puts in what breaks parsers. Whatever fails is told with its reader and seed, and is made again by these.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import importlib.resources
import io
import json
import multiprocessing
import os
import random
import resource
import signal
import tempfile
import time
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Final

#: What an input may take: time [s], memory beside the program's own [bytes].
MOST_S: Final = 2.0
MOST_BYTES: Final = 512 * 1024**2
#: Inputs that a process is given at once.
TOGETHER: Final = 200
TOKENS: Final = tuple(
    one.encode()
    for one in (
        "n/a", "nan", "inf", "-1e999", "1e18", "9" * 400, "-0", "0x10", "1.2.3", "\ufeff", "\0", "\r", "\u202e",
        ",,,,", ";", "\t", '"', "'", "[[", "]]", "{", "}", "=", "[link]", "2199-01-01T00:00:00Z", "1677-01-01",
        "\ud7ff", "%s", "true", "null", "470.0", "-100", "é", "\x85", "a.b.c.d", "\\u0000", "<!--", "#", "1_000",
        "e", "+",
    )
)  # fmt: skip

Reader = Callable[[bytes, Path], object]


def _file(read: Callable[[Path], object], ending: str) -> Reader:
    def from_file(data: bytes, folder: Path) -> object:
        path = folder / f"input{ending}"
        path.write_bytes(data)
        return read(path)

    return from_file


def _text(read: Callable[[str], object]) -> Reader:
    """A reader of text as `read_text` gives it."""
    from linkwright.shoot.reading import MOST_BYTES as MOST_TEXT
    from linkwright.shoot.reading import read_text

    return _file(lambda path: read(read_text(path, "input", MOST_TEXT)), ".txt")


def readers() -> dict[str, tuple[Reader, list[bytes]]]:
    """Every reader of something from outside, and inputs that it reads."""
    from linkwright.air.readers import read_bytes, read_file
    from linkwright.air.stations import parse_stations
    from linkwright.desk.archive import unpack
    from linkwright.desk.loading import load_shoot
    from linkwright.plan.file import parse_kept
    from linkwright.shoot.carrier_list import neighbours_of
    from linkwright.shoot.reading import parse_learnt, parse_shoot
    from linkwright.shoot.walklog import parse_walk
    from linkwright.sound.listen import listen
    from linkwright.sound.recordings import open_recording
    from linkwright.watch.log.kept import unpacked
    from linkwright.watch.log.live import Intake
    from linkwright.watch.log.mapping import parse_mapping
    from linkwright.watch.log.reading import read_log

    seeds = _seeds()
    demo = load_shoot(str(importlib.resources.files("linkwright.demo") / "shoot.toml"))

    def archive(path: Path) -> None:
        target = path.with_name(f"{time.monotonic_ns()}.lwjob")
        try:
            with path.open("rb") as file:
                unpack(file, "input", target)
        finally:
            target.unlink(missing_ok=True)

    def kept(data: bytes, _folder: Path) -> object:
        try:
            return unpacked(data)
        except ValueError:  # what it says that it raises
            return None

    return {
        "sweep": (lambda data, _folder: read_bytes(data, "input"), seeds["sweep"]),
        "samples": (_file(read_file, ".sigmf-meta"), seeds["samples"]),
        "stations": (lambda data, _folder: parse_stations(data, "input", "US"), seeds["stations"]),
        "shoot": (_text(lambda text: parse_shoot(text, "input")), seeds["shoot"]),
        "plan": (_text(lambda text: parse_kept(text, "input")), seeds["plan"]),
        "learnt": (_text(lambda text: parse_learnt(text, "input")), seeds["learnt"]),
        "walk": (_text(lambda text: parse_walk(text, "input")), seeds["walk"]),
        "neighbours": (_text(lambda text: neighbours_of(text, "input", demo)), seeds["neighbours"]),
        "mapping": (_text(lambda text: parse_mapping(text, "input")), seeds["mapping"]),
        "log": (_file(read_log, ".csv"), seeds["log"]),
        "parquet": (_file(read_log, ".parquet"), seeds["parquet"]),
        "recording": (_file(lambda path: listen(open_recording(path, "input")), ".wav"), seeds["recording"]),
        "archive": (_file(archive, ".zip"), seeds["archive"]),
        "kept": (kept, seeds["kept"]),
        "readings": (lambda data, _folder: Intake().take(data), seeds["readings"]),
    }


def _seeds() -> dict[str, list[bytes]]:
    """Inputs that are read, by reader; small, so that a mutation hits what counts."""
    import numpy as np
    import pyarrow as pa
    import pyarrow.parquet as pq
    import soundfile

    from linkwright.watch.log.kept import packed
    from linkwright.watch.log.record import FIELDS, Batch
    from linkwright.watch.log.stretches import stretch_of
    from linkwright.watch.log.writing import csv_lines, json_records

    root = Path(__file__).parents[1]
    demo = importlib.resources.files("linkwright.demo")
    shared = root.parents[1] / "shared" / "data"
    sweeps = [path.read_bytes()[:6000] for path in sorted((shared / "sweeps").glob("*")) if path.is_file()]
    sweeps += [
        "\n".join(f"{470 + 0.025 * n:.3f}{mark}{-100 + n % 7}" for n in range(80)).encode() for mark in ",;\t"
    ]
    sweeps += [one.read_bytes()[:6000] for one in demo.iterdir() if one.name.endswith(".csv")]
    values = np.random.default_rng(1).normal(-60, 5, (40, len(FIELDS))).astype(np.float32)
    values[:, 3:] = 0.5
    batch = Batch(
        ("Potter", "Cook"),
        np.arange(40, dtype=np.int32) % 2,
        1_810_000_000_000_000_000 + 10**8 * np.arange(40),
        values,
    )
    table = pa.table(
        {
            "time": pa.array(batch.time_ns, pa.timestamp("ns", "UTC")),
            "link": [batch.names[n] for n in batch.link],
            "rf_a_dbm": values[:, 0],
        }
    )
    parquet, wav = io.BytesIO(), io.BytesIO()
    pq.write_table(table, parquet)
    sounds = []
    noise = np.random.default_rng(2).normal(0, 0.1, (4000, 2))
    for form, subtype in (("WAV", "PCM_16"), ("WAV", "FLOAT"), ("FLAC", "PCM_24"), ("RF64", "PCM_24")):
        wav = io.BytesIO()
        soundfile.write(wav, noise, 48_000, subtype, format=form)
        sounds.append(wav.getvalue())
    meta = {
        "global": {"core:datatype": "cf32_le", "core:sample_rate": 1e6},
        "captures": [{"core:sample_start": 0, "core:frequency": 5.7e8}],
        "annotations": [],
    }
    log = "".join(csv_lines([batch])).encode()
    return {
        "sweep": sweeps,
        "samples": [json.dumps(meta).encode()],
        "stations": [b"call sign,channel,lat,lon,erp_kw,haat_m\nAAAA,21,40.1,-75.1,10,100\nBBBB,22,40,-75,1,90\n"],
        "shoot": [(demo / "shoot.toml").read_bytes(), (root / "shoot" / "data" / "quay.toml").read_bytes()],
        "plan": [_plan(root)],
        "learnt": [b'format = "linkwright-measured/1"\nlink = "Potter"\nlevels = 12\n'],
        "walk": [b"time,spot,rf_a_dbm\n2027-05-14T09:00:00Z,Cart,-60\n2027-05-14T09:00:01Z,Far,-70\n"],
        "neighbours": [b"name,MHz,mW\nNews,571.125,50\nSport,572.5,10\n", b"571.125\n572.500\n"],
        "mapping": [b'zone = "Europe/London"\n[column]\ntime = "When"\nlink = "Who"\n[scale]\nquality = 0.01\n'],
        "log": [log, log.replace(b",", b";"), b"\xef\xbb\xbf" + log.replace(b"\n", b"\r\n")],
        "parquet": [parquet.getvalue()],
        "recording": sounds,
        "archive": [path.read_bytes() for path in sorted((root / "store" / "kinds").glob("*.zip"))],
        "kept": [packed(stretch_of(batch))],
        "readings": [json.dumps(json_records(batch)).encode(), json.dumps(json_records(batch)[0]).encode()],
    }  # fmt: skip


def _plan(root: Path) -> bytes:
    from linkwright.plan.file import write_plan
    from linkwright.plan.pipeline import make_plan
    from linkwright.shoot.reading import read_shoot

    return write_plan(make_plan(read_shoot(root / "shoot" / "data" / "quay.toml"), {}, None)).encode()


def mutated(data: bytes, others: Sequence[bytes], chance: random.Random) -> bytes:
    """One input made worse."""
    out = bytearray(data)
    for _ in range(chance.choice((1, 1, 1, 2, 3, 8))):
        at = chance.randrange(len(out) + 1)
        length = min(len(out) - at, chance.choice((1, 2, 4, 16, 64, 500)))
        match chance.randrange(8):
            case 0 if out:
                out[min(at, len(out) - 1)] ^= 1 << chance.randrange(8)
            case 1:
                del out[at : at + length]
            case 2:
                out[at:at] = bytes(out[at : at + length]) * chance.choice((1, 2, 50))
            case 3:
                out[at : at + chance.choice((0, length))] = chance.choice(TOKENS)
            case 4:
                out[at : at + length] = chance.randbytes(length)
            case 5:
                other = chance.choice(others)
                out[at:] = other[chance.randrange(len(other) + 1) :]
            case 6:
                lines = bytes(out).split(b"\n")
                n = chance.randrange(len(lines))
                lines[n:n] = [chance.choice(lines)] * chance.choice((1, 3, 100))
                out = bytearray(b"\n".join(lines))
            case _:
                out = out[:at]
    return bytes(out[:1_000_000])


def one(name: str, seed: int, known: dict[str, tuple[Reader, list[bytes]]], folder: Path) -> str:
    """Read one input; what was wrong with that, nothing where it went well."""
    from linkwright.shoot.errors import InputError

    reader, seeds = known[name]
    chance = random.Random(f"{name} {seed}")
    data = mutated(chance.choice(seeds), seeds, chance)
    try:
        reader(data, folder)
    except InputError as error:
        said = str(error)
        return "" if said and len(said) < 5000 else f"{name} {seed}: a sentence of {len(said)} letters"
    except MemoryError:
        return f"{name} {seed}: more than {MOST_BYTES // 2**20} MiB"
    except Exception as error:
        return f"{name} {seed}: {type(error).__name__}: {str(error)[:200]}"
    return ""


def work(pipe: Connection, names: Sequence[str]) -> None:
    """The process: reads what it is told to, says what it is at."""
    with tempfile.TemporaryDirectory() as folder:
        known = readers()
        for name in names:  # what is loaded late, and every kernel, before memory is limited
            for seed in known[name][1]:
                with_nothing_said(known[name][0], seed, Path(folder))
        held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (held + MOST_BYTES, resource.RLIM_INFINITY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        pipe.send("ready")
        while True:
            asked = pipe.recv()
            if asked is None:
                return
            for name, seed in asked:
                began = time.process_time()
                pipe.send(("at", name, seed))
                said = one(name, seed, known, Path(folder))
                took = time.process_time() - began
                pipe.send(("said", said or (f"{name} {seed}: took {took:.1f} s" if took > MOST_S else ""), took))
            pipe.send("done")


def with_nothing_said(reader: Reader, data: bytes, folder: Path) -> None:
    """Read an input, whatever comes of it."""
    from linkwright.shoot.errors import InputError

    with contextlib.suppress(InputError):
        reader(data, folder)


class Process:
    """One process that reads, and what is known of it."""

    def __init__(self, names: Sequence[str]) -> None:
        self.pipe, there = multiprocessing.Pipe()
        context = multiprocessing.get_context("spawn")
        self.process = context.Process(target=work, args=(there, names), daemon=True)
        self.process.start()
        there.close()
        assert self.pipe.recv() == "ready"

    def go(self, asked: list[tuple[str, int]]) -> tuple[list[str], float, int]:
        """Read these; what was wrong, the longest [s], how many were read before it ended."""
        self.pipe.send(asked)
        wrong: list[str] = []
        longest, at = 0.0, ("", 0)
        read = 0
        while True:
            if not self.pipe.poll(10 * MOST_S):
                os.kill(self.process.pid or 0, signal.SIGKILL)
                return [*wrong, f"{at[0]} {at[1]}: hangs"], longest, read + 1
            try:
                told: Any = self.pipe.recv()
            except (EOFError, OSError):
                return [*wrong, f"{at[0]} {at[1]}: ended the process"], longest, read + 1
            if told == "done":
                return wrong, longest, read
            if told[0] == "at":
                at = told[1:]
            else:
                read += 1
                longest = max(longest, told[2])
                wrong += [told[1]] if told[1] else []

    def end(self) -> None:
        """Stop it."""
        self.process.kill()
        self.process.join()


def storm(
    count: int, seed: int, names: Sequence[str] = (), tell: Callable[[str], None] = lambda _: None
) -> list[str]:
    """What was wrong with so many inputs, over all readers in turn."""
    names = list(names or _names())
    wrong: list[str] = []
    longest, done = 0.0, 0
    process = Process(names)
    asked = [(names[n % len(names)], seed * 10**9 + n) for n in range(count)]
    while asked:
        said, took, read = process.go(asked[:TOGETHER])
        wrong, longest, done = wrong + said, max(longest, took), done + read
        del asked[:read]
        if not process.process.is_alive() or (said and ("hangs" in said[-1] or "ended" in said[-1])):
            process.end()
            process = Process(names)
        if done % (50 * TOGETHER) < TOGETHER:
            tell(f"{done} inputs, {len(wrong)} wrong, the longest {longest:.2f} s")
    process.end()
    tell(f"{done} inputs over {len(names)} readers: {len(wrong)} wrong, the longest {longest:.2f} s")
    return wrong


@functools.cache
def _names() -> tuple[str, ...]:
    return tuple(readers())


def main(arguments: Sequence[str]) -> int:
    """Run it from the command line."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--inputs", type=int, default=1_000_000)
    given.add_argument("--seed", type=int, default=1)
    given.add_argument("--reader", action="append", default=[])
    options = given.parse_args(arguments)
    os.environ["NUMBA_BOUNDSCHECK"] = "1"  # every index of every compiled loop; with machine code of its own
    os.environ["NUMBA_CACHE_DIR"] = str(Path(tempfile.gettempdir()) / f"bounds-{os.getuid()}")
    wrong = storm(options.inputs, options.seed, options.reader, print)
    print("\n".join(wrong), end="")
    return int(bool(wrong))
