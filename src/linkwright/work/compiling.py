"""All compiled loops made ready at once, side by side, so that nobody waits for a compiler in the middle of a day.

`kernels.toml` lists each loop with the kinds of values that it is called with (`make kernels` writes it anew). The
machine code is kept in the user's cache, a folder a version, and found again by every process; an installation that
cannot be written is as good as one that can.
"""

from __future__ import annotations

import functools
import getpass
import hashlib
import importlib
import importlib.metadata
import importlib.resources
import os
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor, wait
from multiprocessing import active_children, get_context
from pathlib import Path
from typing import Any, Final

from linkwright import __version__
from linkwright.progress import Tell, quiet

#: Where numba looks for the machine code that is kept.
VARIABLE: Final = "NUMBA_CACHE_DIR"
#: A file in that folder: all loops of this version are there. Who is at it holds the other one.
DONE, AT_WORK = "prepared", "preparing"
#: Whoever waits for another process looks this often [s].
LOOK_S: Final = 0.2

Kind = str | list[str]
Kinds = list[list[Kind]]


def cache_folder(environment: Mapping[str, str] = os.environ) -> Path:
    """The folder for this version's machine code: the user's cache (XDG Base Directory Specification), or one for
    as long as the machine is on where that cannot be written."""
    python = ".".join(map(str, sys.version_info[:2]))
    name = f"{__version__}-numba-{importlib.metadata.version('numba')}-python-{python}"
    base = environment.get("XDG_CACHE_HOME", "")
    own = Path(base) if Path(base).is_absolute() else Path.home() / ".cache"
    for root in (own / "linkwright", Path(tempfile.gettempdir()) / f"linkwright-{getpass.getuser()}"):
        folder = root / name
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return folder
    return Path(tempfile.mkdtemp(prefix="linkwright-"))


def use_cache() -> Path:
    """Have machine code kept there, by this process and those that it starts; before numba is imported."""
    os.environ.setdefault(VARIABLE, str(cache_folder()))
    return Path(os.environ[VARIABLE])


def listed() -> dict[str, Kinds]:
    """Every loop, as module:function, with the kinds of values of each way in which it is called."""
    text = importlib.resources.files("linkwright.work").joinpath("kernels.toml").read_text("utf-8")
    return tomllib.loads(text)


def is_started() -> bool:
    """Whether a command of this program was started here: else whoever imports it decides what is kept where."""
    return VARIABLE in os.environ


def is_prepared() -> bool:
    """Whether all loops of this version are in the cache, or the compiler is switched off."""
    if os.environ.get("NUMBA_DISABLE_JIT", "0") == "1":
        return True
    return VARIABLE in os.environ and (Path(os.environ[VARIABLE]) / _done()).exists()


@functools.cache
def _done() -> str:
    """The name of the file that says that all loops are there, as their modules stand here now: another checkout's
    machine code is no use to this one."""
    root = Path(str(importlib.resources.files("linkwright")))
    modules = sorted({name.partition(":")[0] for name in listed()})
    stamps = [path.stat() for path in (root.joinpath(*name.split(".")[1:]).with_suffix(".py") for name in modules)]
    told = [str(root), *((stamp.st_mtime_ns, stamp.st_size) for stamp in stamps)]
    return f"{DONE}-{hashlib.sha256(repr(told).encode()).hexdigest()[:16]}"


def prepare(tell: Tell = quiet, workers: int | None = None) -> None:
    """Make all loops ready, modules side by side; at once where they are. `tell` may raise to stop."""
    folder = use_cache()
    if is_prepared():
        return
    sign = folder / AT_WORK
    while _somebody_is_at_it(sign):
        tell("preparing this program for this machine, once", 0.5)
        time.sleep(LOOK_S)
        if is_prepared():
            return
    modules: dict[str, dict[str, Kinds]] = {}
    for name, kinds in listed().items():
        modules.setdefault(name.partition(":")[0], {})[name] = kinds
    sign.write_text(str(os.getpid()), "utf-8")
    with ProcessPoolExecutor(workers or os.cpu_count(), mp_context=get_context("spawn")) as pool:
        others = set(active_children())
        waiting = {pool.submit(compile_module, kinds) for kinds in modules.values()}
        most = len(waiting)
        try:
            while waiting:
                done, waiting = wait(waiting, timeout=LOOK_S)
                for future in done:
                    future.result()
                tell("preparing this program for this machine, once", 1 - len(waiting) / most)
        except BaseException:
            for worker in set(active_children()) - others:
                worker.kill()  # a module takes up to half a minute, and whoever ends the program waits
            raise
        finally:
            sign.unlink(missing_ok=True)
    (folder / _done()).touch()


def _somebody_is_at_it(sign: Path) -> bool:
    """Whether a process that is alive says that it prepares."""
    try:
        os.kill(int(sign.read_text("utf-8")), 0)
    except (OSError, ValueError):
        return False
    return True


def ready(tell: Tell = quiet) -> None:
    """Wait until all loops are ready, where a command was started: then nobody waits in the midst of the work."""
    if is_started():
        prepare(tell)


def compile_module(kernels: Mapping[str, Kinds]) -> None:
    """Compile loops, or load them where they are kept."""
    for name, ways in kernels.items():
        module, _, function = name.partition(":")
        compiled: Any = getattr(importlib.import_module(module), function)
        for kinds in ways:
            compiled.compile(tuple(map(numba_type, kinds)))


def numba_type(kind: Kind) -> Any:
    """numba's type of a value: "int64", "tuple int64 2", or of an array "float32 1 C" (kind, dimensions, layout;
    "read" for one that is only read); of a named tuple its class, as module:name, and the kinds of its fields."""
    from numba import types

    array: Any = types.Array
    several: Any = types.BaseTuple
    if not isinstance(kind, str):
        module, _, name = kind[0].partition(":")
        of = getattr(importlib.import_module(module), name)
        return several.from_types([numba_type(field) for field in kind[1:]], of)
    name, *rest = kind.split()
    if name.startswith("Literal[int]"):  # a whole number that a loop within a loop is called with
        literal: Any = types.literal
        return literal(int(name.removeprefix("Literal[int](").removesuffix(")")))
    if name == "tuple":
        return several.from_types([getattr(types, rest[0])] * int(rest[1]))
    scalar = getattr(types, name)
    if not rest:
        return scalar
    return array(scalar, int(rest[0]), rest[1], readonly="read" in rest)


def kind_of(numba_kind: Any) -> Kind:
    """The same the other way."""
    from numba import types

    of = getattr(numba_kind, "instance_class", None)  # of a named tuple
    if of is not None:
        return [f"{of.__module__}:{of.__qualname__}", *(str(kind_of(field)) for field in numba_kind)]
    if isinstance(numba_kind, types.UniTuple):
        return f"tuple {numba_kind.dtype} {numba_kind.count}"
    if not isinstance(numba_kind, types.Array):
        return str(numba_kind)
    read = "" if numba_kind.mutable else " read"
    return f"{numba_kind.dtype} {numba_kind.ndim} {numba_kind.layout}{read}"


def prepare_beside() -> None:
    """Begin to prepare in a process of its own, which goes on when this one has ended."""
    use_cache()
    if is_prepared():
        return
    command = [sys.executable, "-c", "from linkwright.work.compiling import prepare; prepare()"]
    nothing = subprocess.DEVNULL
    subprocess.Popen(command, stdin=nothing, stdout=nothing, stderr=nothing, start_new_session=True)
