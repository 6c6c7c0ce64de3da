"""What every command prints with: JSON, tables, verdicts, progress, and files that are whole or not there."""

from __future__ import annotations

import json
import os
import re
import stat
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TextIO, cast

from linkwright.cli.columns import fitting, laid_out
from linkwright.halfway import half_of
from linkwright.shoot.errors import InputError
from linkwright.shoot.regular import READ
from linkwright.units import together

if TYPE_CHECKING:
    from rich.console import Console

    from linkwright.plan.model import Finding
    from linkwright.progress import Tell

#: A wait longer than this shows what is being done [s].
PATIENCE_S = 0.7
#: So much of a file tells what it is [bytes].
KNOWN_BY = 65_536
EMPTY = "empty"
MAGIC = {
    b"%PDF": "a PDF", b"\x89PNG": "a PNG", b"PAR1": "Parquet", b"PK": "an archive", b"SQLite format 3": "a job",
    b"<": "a drawing", b"{": "JSON", b"[{": "JSON", b"BEGIN:VCALENDAR": "a calendar", b"RIFF": "a recording",
    b"#!": "a program", b"\x7fELF": "a program",
}  # fmt: skip
#: Holds something where the person said --force.
_forced: Final[set[bool]] = set()
#: Where standard error is no terminal, a line this often [s].
PLAIN_EVERY_S = 5.0
#: Up to so many findings of one kind are told one by one.
TOLD_EACH = 3
#: Verdicts as discs: full, half, a ring with a bar.
DISCS = {"holds": "●", "thin": "◐", "fails": "⊘"}
STYLES = {"holds": "", "thin": "yellow", "fails": "bold red", "stop": "bold red", "warn": "yellow", "note": ""}


def console() -> Console:
    """Standard output; colour only on a terminal."""
    from rich.console import Console

    class Plain(Console):
        def on_broken_pipe(self) -> None:
            raise  # to `main`, which ends quietly

    width = None if sys.stdout.isatty() else int(os.environ.get("COLUMNS", "110"))
    return Plain(highlight=False, emoji=False, markup=False, width=width, file=cast("TextIO", _Trimmed()))


class _Trimmed:
    """Standard output without the blanks that a line that was wrapped has at its end."""

    def write(self, text: str) -> int:
        return sys.stdout.write(re.sub(r" {1,400}((?:\x1b\[[0-9;]{0,20}m){0,4})(?=\n)", r"\1", text))

    def __getattr__(self, name: str) -> Any:
        return getattr(sys.stdout, name)


def tell_unread(errors: Sequence[InputError]) -> None:
    """Say on standard error which files of a batch could not be read; the others are answered."""
    for error in errors:
        sys.stderr.write(f"{error}\n")


def print_json(document: Any, *, one_line: bool = False) -> None:
    """One JSON document on standard output."""
    indent = None if one_line else 1
    sys.stdout.write(json.dumps(document, indent=indent, ensure_ascii=False, allow_nan=False) + "\n")


def print_table(
    out: Console,
    columns: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    right: Sequence[str] = (),
    title: str | None = None,
    drop: Sequence[str] = (),
) -> None:
    """A plain table; the columns named in `right` are set flush right, verdicts in their colour.

    No number is ever cut in two: where there is no room, sentences are wrapped in their column, and where that does
    not do either, columns are left out in the order of `drop`, which is told, or every row becomes lines.
    """
    from rich.text import Text

    if title is not None:
        out.print(title, style="italic")
    styles = [
        next((STYLES[word] for cell in row for word in DISCS if cell.endswith(f" {word}")), "") for row in rows
    ]
    left_out = fitting(out.width, columns, rows, right, drop)
    kept = [n for n, column in enumerate(columns) if column not in left_out]
    shown = [[row[n] for n in kept] for row in rows]
    head, lines = laid_out(out.width, [columns[n] for n in kept], shown, right)
    if head:
        out.print(Text(head, style="bold"), no_wrap=True, crop=False, overflow="ignore")
    for style, row in zip(styles, lines, strict=True):
        for line in row:
            out.print(Text(line, style=style), no_wrap=True, crop=False, overflow="ignore")
    if left_out:
        out.print(f"Left out, as there is no room: {', '.join(left_out)}.", style="italic")


def print_findings(out: Console, findings: Sequence[Finding]) -> None:
    """Findings, the gravest first, with what to do; of many of one kind the first, and whom else it is about."""
    from rich.padding import Padding
    from rich.text import Text

    alike: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        alike.setdefault((finding.severity, finding.code, finding.do), []).append(finding)
    for (severity, code, do), several in alike.items():
        shown = several if len(several) <= TOLD_EACH else several[:1]
        names = list(dict.fromkeys(finding.about for finding in several[len(shown) :]))
        more = [f"The same, in its own numbers, of {together(names)}."] if names else []
        out.print(f"{severity}  {code}", style=STYLES[severity] or None)
        out.print(Padding(Text("\n".join([*(finding.says for finding in shown), *more, do])), (0, 0, 0, 6)))


@contextmanager
def progress() -> Iterator[Tell]:
    """Progress on standard error, shown once a wait gets long. What is yielded is told what is being done."""
    begun = said = time.monotonic()
    shown: list[Any] = []

    def tell(what: str, share: float) -> None:
        nonlocal said
        now = time.monotonic()
        if now - begun < PATIENCE_S:
            return
        if not sys.stderr.isatty():
            if now - said > PLAIN_EVERY_S:
                said = now
                sys.stderr.write(f"{what}, {100 * share:.0f} %\n")
            return
        if not shown:
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

            bar = Progress(
                TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(),
                console=Console(stderr=True), transient=True,
            )  # fmt: skip
            bar.start()
            shown.extend([bar, bar.add_task(what, total=1.0)])
        shown[0].update(shown[1], description=what, completed=share)

    try:
        yield tell
    finally:
        if shown:
            shown[0].stop()


def write_text(path: str, text: str, *, grown: bool = False) -> None:
    """Write a file whole: beside its place first, then renamed. `-` is standard output. Raises InputError.

    A file that this command read is written over only where it is the same one, `grown`.
    """
    if path == "-":
        sys.stdout.write(text)
    else:
        _write_whole(path, [text.encode("utf-8")], grown=grown)


def check_picture(path: str) -> None:
    """Refuse a name for a picture that is neither of the two kinds. Raises InputError."""
    if Path(path).suffix.lower() not in (".svg", ".png"):
        raise InputError(f'--picture is "{path}"; expected a file that ends in .svg or .png')


def write_drawing(path: str, svg: str) -> None:
    """Write a drawing as .svg, or as .png by its ending. Raises InputError where it cannot be written."""
    if Path(path).suffix.lower() == ".png":
        from linkwright.draw.png import png_of

        write_bytes(path, png_of(svg))
    else:
        write_text(path, svg)


def write_lines(path: str, lines: Iterable[str]) -> None:
    """Write lines as they come, the file whole or not at all. `-` is standard output. Raises InputError."""
    if path == "-":
        sys.stdout.writelines(lines)
    else:
        _write_whole(path, (line.encode("utf-8") for line in lines))


def write_bytes(path: str, data: bytes) -> None:
    """Write a file whole: beside its place first, then renamed. Raises InputError."""
    _write_whole(path, [data])


def _write_whole(path: str, parts: Iterable[bytes], *, grown: bool = False) -> None:
    rest = iter(parts)
    first = next(rest, b"")
    with whole(path, first, grown=grown) as beside, beside.open("wb") as out:
        out.write(first)
        out.writelines(rest)


@contextmanager
def whole(path: str, begins: bytes, *, grown: bool = False) -> Iterator[Path]:
    """A file to write beside `path`, renamed to it at the end and gone where that fails.

    A file of another kind than one that `begins` so is not written over but with --force, nor one that was read
    unless it is `grown`. Raises InputError for such a file, and where it cannot be written.
    """
    target = Path(path)
    try:
        _spare(target, begins, grown=grown)
        beside = half_of(target)
        beside.touch()
        try:
            yield beside
            beside.chmod(0o644)
            beside.replace(target)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", path=path) from None


def force() -> None:
    """From now on write over what is there, as the person said."""
    _forced.add(True)


def _spare(target: Path, begins: bytes, *, grown: bool) -> None:
    """Refuse to write over what nobody can have meant. Raises InputError, OSError."""
    if not target.exists():
        return
    status = target.stat()
    if not stat.S_ISREG(status.st_mode):
        raise InputError("is there and is no regular file; expected another name", path=str(target))
    if (status.st_dev, status.st_ino) in READ and not grown:
        raise InputError(
            "was read by this command, and would be written over; expected another name", path=str(target)
        )
    if _forced:
        return
    with target.open("rb") as file:
        old, new = _kind(file.read(KNOWN_BY)), _kind(begins)
    if old not in (new, EMPTY):
        says = f"is {old} and would become {new}; expected another name, or `linkwright --force ...`"
        raise InputError(says, path=str(target))


def _kind(begins: bytes) -> str:
    """What a file is by its beginning, in words."""
    text = begins[:KNOWN_BY].removeprefix(b"\xef\xbb\xbf").strip()
    known = next((word for magic, word in MAGIC.items() if text.startswith(magic)), None)
    own = re.match(rb'\{\s{0,9}"format":\s?"linkwright-(\w+)/', text)
    if own:
        return f"a file of the kind {own[1].decode()}"
    if known or not text:
        return known or EMPTY
    if re.search(rb"^\[shoot\]", text, re.MULTILINE):
        return "a shoot"
    return "a table or text"
