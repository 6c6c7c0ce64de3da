"""Everything of a job as one zip file, and such a file opened again.

The job file in it holds all of the rest; the other files are for eyes and other programs. A list with a hash of
every file comes with them. Of an archive that is opened only the job file is unpacked, under a name of our own, to
no more bytes than the list says, and it is opened (an older kind is brought up) before anybody works with it.
"""

from __future__ import annotations

import contextlib
import glob
import hashlib
import json
import os
import shutil
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO, Any, BinaryIO, Final

from linkwright import __version__, halfway
from linkwright.desk.files import MOST_UPLOAD, named_files
from linkwright.shoot.bag import Bag, write_bag
from linkwright.shoot.errors import InputError
from linkwright.shoot.regular import open_regular
from linkwright.store import LOG, READINGS, RECORDING, SWEPT, LoggedChange, Store
from linkwright.store.backup import forget_devices
from linkwright.store.kitbook import MOST_BYTES, bag_of, own_bag, read_bag
from linkwright.watch.log.kept import Stretch

FORMAT: Final = "linkwright-archive/1"
LIST: Final = "archive.json"
BAG: Final = "kit.toml"
JOB: Final = "job.lwjob"
#: The earliest time that a zip file can say: its files have no time of their own.
NO_TIME: Final = (1980, 1, 1, 0, 0, 0)
#: An archive that is opened has at most so many files, a list of so many bytes, a job of so many.
MOST_FILES: Final = 10_000
MOST_LIST: Final = 8 * 1024 * 1024
MOST_JOB: Final = 64 * 1024**3
#: What is larger than this may be so many times as large as it is in the archive, not more.
MOST_PLAIN: Final = 256 * 1024**2
MOST_GROWN: Final = 100
PIECE: Final = 1024 * 1024
#: What reading a zip file raises where it is damaged, encrypted, or none.
DAMAGED: Final = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError,
)  # fmt: skip
#: What is compressed already, or hardly can be, is put in as it is.
AS_IS: Final = (".wav", ".flac", ".parquet", ".pdf", ".png", ".zip")


class Packing:
    """A zip file that is written piece by piece, with the hash of every file."""

    def __init__(self, out: IO[bytes]) -> None:
        self.zip = zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, allowZip64=True)
        self.files: dict[str, dict[str, Any]] = {}

    def put(self, name: str, pieces: Iterable[bytes]) -> None:
        """One file."""
        info = zipfile.ZipInfo(name, NO_TIME)
        info.compress_type = zipfile.ZIP_STORED if name.endswith(AS_IS) else zipfile.ZIP_DEFLATED
        digest, size = hashlib.sha256(), 0
        with self.zip.open(info, "w", force_zip64=True) as file:
            for piece in pieces:
                digest.update(piece)
                size += len(piece)
                file.write(piece)
        self.files[name] = {"bytes": size, "sha256": digest.hexdigest()}

    def finish(self, title: str) -> None:
        """The list of all files, last."""
        about = {"format": FORMAT, "made_with": __version__, "shoot": title, "files": self.files}
        self.zip.writestr(
            zipfile.ZipInfo(LIST, NO_TIME), json.dumps(about, indent=1, ensure_ascii=False), zipfile.ZIP_DEFLATED
        )
        self.zip.close()


def pack(
    store: Store, out: IO[bytes], stretches: Iterable[Stretch], more: Iterable[tuple[str, Callable[[], bytes]]]
) -> None:
    """Write the archive of a job: the job file, the shoot, readings, recordings, and `more` files by their names.

    A file of `more` that cannot be made (InputError) is left out. Raises InputError where the job cannot be copied.
    """
    packing = Packing(out)
    with halfway.folder() as folder:
        copy = Path(folder) / JOB
        store.backup(copy)
        with copy.open("rb") as file:
            packing.put(JOB, iter(lambda: file.read(PIECE), b""))
    draft = store.document()
    packing.put("shoot.toml", [draft.toml().encode()])
    packing.put("readings.csv", _csv(stretches))
    bag = own_bag()
    if bag.item or bag.permit:
        packing.put(BAG, [write_bag(bag).encode()])
    taken = {JOB, "shoot.toml", "readings.csv", LIST, BAG}
    for attachment in store.attachment_list():
        if attachment.kind in (READINGS, SWEPT):
            continue  # in readings.csv, and in the job file
        folder_name = {RECORDING: "recordings", LOG: "logs"}.get(attachment.kind, "files")
        name = free_name(f"{folder_name}/{plain(attachment.name)}", taken)
        packing.put(name, store.attachment_pieces(attachment.id))
    for name, make in more:
        with contextlib.suppress(InputError):
            packing.put(free_name(name, taken), [make()])
    header = draft.document.get("shoot")
    title = header.get("title") if isinstance(header, dict) else None
    packing.finish(title if isinstance(title, str) else "")


def bag_in(path: Path) -> Bag:
    """The bag that an archive carries, or the one in a file of its own. Raises InputError."""
    if not is_zip(path):
        return read_bag(path)
    try:
        with open_regular(path, str(path)) as file, zipfile.ZipFile(file) as archive, archive.open(BAG) as member:
            text = member.read(MOST_BYTES + 1)
    except KeyError:
        raise InputError(f"carries no bag: there is no {BAG} in it", path=str(path)) from None
    except (OSError, *DAMAGED) as error:
        raise InputError(f"is no archive of a job, or is damaged ({str(error)[:200]})", path=str(path)) from None
    if len(text) > MOST_BYTES:
        raise InputError(f"{BAG} in it has more than {MOST_BYTES} bytes", path=str(path))
    return bag_of(text, f"{path}, {BAG}")


def _csv(stretches: Iterable[Stretch]) -> Iterator[bytes]:
    from linkwright.sheets.tables import as_text
    from linkwright.watch.log.stretches import batch_of, called
    from linkwright.watch.log.writing import csv_lines

    lines: list[str] = []
    for line in csv_lines(batch_of(called(stretch, as_text)) for stretch in stretches):
        lines.append(line)
        if len(lines) >= 10_000:
            yield "".join(lines).encode()
            lines.clear()
    yield "".join(lines).encode()


def plain(name: str) -> str:
    """A name that every file system takes: no folders, no signs that mean something."""
    kept = "".join(c if c.isalnum() or c in " -_.()" else "_" for c in name).strip(" .")
    return kept[:120] or "file"


def free_name(name: str, taken: set[str]) -> str:
    """The name, or with a number where it is taken; it is taken from then on."""
    stem, dot, ending = name.rpartition(".")
    stem, ending = (stem, f".{ending}") if dot and "/" not in ending else (name, "")
    free, n = name, 2
    while free.lower() in {used.lower() for used in taken}:
        free, n = f"{stem} {n}{ending}", n + 1
    taken.add(free)
    return free


def is_zip(path: Path) -> bool:
    """Whether a file begins as a zip file does."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return False
        with path.open("rb") as file:
            return file.read(4) == b"PK\x03\x04"
    except OSError:
        return False


def unpack(file: BinaryIO, name: str, target: Path) -> None:
    """Take the job out of an archive and put it at `target`, which may not be there.

    Raises InputError, having written nothing: no archive of ours, damaged, too large, no room, `target` is there.
    """
    if target.exists():
        raise InputError(
            f"{target.name} is there already; open that, or move it away to open the archive", path=name
        )
    half = halfway.half_of(target)
    try:
        with zipfile.ZipFile(file) as archive:
            member, said = _listed(archive, name)
            room = shutil.disk_usage(target.absolute().parent).free
            if member.file_size > room:
                raise InputError(f"needs {member.file_size} bytes of room, and {room} are left", path=name)
            _copy(archive, member, said, half, name)
        with Store.open(half):  # for writing: an older kind is brought up; the archive is what is kept of it
            pass
        forget_devices(half)
        _name(half, target)
    except FileExistsError:
        raise InputError(f"{target.name} is there already; open that, or move it away", path=name) from None
    except DAMAGED as error:
        raise InputError(f"is no archive of a job, or is damaged ({str(error)[:200]})", path=name) from None
    except OSError as error:
        raise InputError(f"cannot be unpacked ({error.strerror or error})", path=name) from None
    finally:
        for left in (half, *half.parent.glob(f"{glob.escape(half.name)}*")):
            with contextlib.suppress(OSError):
                left.unlink(missing_ok=True)


def _listed(archive: zipfile.ZipFile, name: str) -> tuple[zipfile.ZipInfo, dict[str, Any]]:
    """The job in an archive, and what the list says of it. Raises InputError where that is not ours."""
    members = archive.infolist()
    if len(members) > MOST_FILES:
        raise InputError(f"has {len(members)} files; expected an archive of a job", path=name)
    known: dict[str, zipfile.ZipInfo] = {}
    for member in members:
        parts = member.filename.replace("\\", "/").split("/")
        if member.filename.startswith(("/", "\\")) or ".." in parts or ":" in parts[0] or member.filename in known:
            shown = member.filename[:60]
            raise InputError(f'holds a file "{shown}" that no archive of a job holds; it is not opened', path=name)
        known[member.filename] = member
    if LIST not in known or JOB not in known:
        lacks = LIST if LIST not in known else JOB
        raise InputError(f"is a zip file without {lacks}; expected an archive that the page Wrap made", path=name)
    if known[LIST].file_size > MOST_LIST:
        raise InputError("has a list of files that is too long; expected an archive of a job", path=name)
    with archive.open(known[LIST]) as file:
        about = json.loads(file.read(MOST_LIST + 1))
    if not isinstance(about, dict) or about.get("format") != FORMAT:
        shown = str(about.get("format") if isinstance(about, dict) else about)[:40]
        raise InputError(f'is of the format "{shown}"; expected {FORMAT}', path=name)
    files = about.get("files")
    said = files.get(JOB) if isinstance(files, dict) else None
    if not isinstance(said, dict) or said.get("bytes") != known[JOB].file_size:
        raise InputError(f"says another length of {JOB} than it has; it is damaged", path=name)
    if known[JOB].file_size > MOST_JOB:
        raise InputError(f"holds a job of more than {MOST_JOB // 1024**3} GiB; it is not opened", path=name)
    if known[JOB].file_size > max(MOST_PLAIN, MOST_GROWN * known[JOB].compress_size):
        says = f"would grow from {known[JOB].compress_size} to {known[JOB].file_size} bytes; it is not opened"
        raise InputError(f"{says}: unpack {JOB} by hand where that is meant", path=name)
    return known[JOB], said


def _copy(archive: zipfile.ZipFile, member: zipfile.ZipInfo, said: dict[str, Any], half: Path, name: str) -> None:
    """The job's bytes, no more than the list says, and the same. Raises InputError."""
    digest, size = hashlib.sha256(), 0
    with archive.open(member) as source, half.open("xb") as target:
        while piece := source.read(PIECE):
            size += len(piece)
            if size > member.file_size:
                raise InputError(f"{JOB} in it is longer than it says; it is not opened", path=name)
            digest.update(piece)
            target.write(piece)
        target.flush()
        os.fsync(target.fileno())
    if digest.hexdigest() != said.get("sha256"):
        raise InputError(f"{JOB} in it is not what was packed; it is damaged", path=name)


def _name(half: Path, target: Path) -> None:
    """Give the file its name, never over a file that came meanwhile. Raises FileExistsError."""
    try:
        os.link(half, target)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if target.exists():
            raise FileExistsError from None
        half.rename(target)


def open_beside(path: Path) -> Path:
    """The job of an archive, unpacked beside it (`name.lwjob`); raises InputError as `unpack` does."""
    target = path.with_suffix(".lwjob")
    try:
        with open_regular(path, str(path)) as file:
            unpack(file, str(path), target)
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", path=str(path)) from None
    return target


def take_shoot(file: BinaryIO, name: str, store: Store, who: str) -> LoggedChange | None:
    """The shoot of an archive, with the files that its sites name, into a store; undo takes the shoot back.

    Raises InputError as `unpack` does.
    """
    with halfway.folder() as folder:
        job = Path(folder) / JOB
        unpack(file, name, job)
        with Store.open(job, read_only=True) as other:
            document = other.document().document
            there = {attachment.name for attachment in store.attachment_list()}
            wanted = set(named_files(document)) - there
            for attachment in other.attachment_list():
                if attachment.name in wanted:
                    wanted.discard(attachment.name)
                    data = other.attachment(attachment.id)
                    store.attach(attachment.name, data, who, most_bytes=MOST_UPLOAD, kind=attachment.kind)
            return store.replace(document, who)
