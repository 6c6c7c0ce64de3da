"""A length of time as people say it."""

from __future__ import annotations


def seconds(value: float) -> str:
    """Roughly, at least a tenth of a second: "0.4 s", "40 s", "3 min"."""
    if value < 0.95:
        return f"{max(value, 0.1):.1f} s"
    return f"{value:.0f} s" if value < 99.5 else f"{value / 60:.0f} min"


def duration(seconds: float) -> str:
    """In full: 0.4 s, 4 s, 3 min 10 s, 6 h 20."""
    if seconds < 9.95:
        return f"{seconds:.1f} s".replace(".0 s", " s")
    if seconds < 59.5:
        return f"{seconds:.0f} s"
    if seconds < 3570:
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min {rest} s" if rest and minutes < 10 else f"{round(seconds / 60)} min"
    return hours(seconds / 3600.0)


def apart(seconds: float) -> str:
    """Between two clocks, to the second: 4.2 s, 3 min 10 s, 1 h 0 min 3 s."""
    if seconds < 99.95:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes // 60} h {minutes % 60} min {rest} s" if minutes >= 60 else f"{minutes} min {rest} s"


def hours(value: float) -> str:
    """Of a plan or a schedule: "2 h 05", "45 min"."""
    minutes = round(60.0 * value)
    sign, minutes = ("\N{MINUS SIGN}" if minutes < 0 else ""), abs(minutes)
    return f"{sign}{minutes // 60} h {minutes % 60:02d}" if minutes >= 60 else f"{sign}{minutes} min"


def age(seconds: float) -> str:
    """How long ago: "5 min", "3 h", "4 days"."""
    minutes = round(seconds / 60.0)
    return (
        f"{minutes} min" if minutes < 120 else f"{minutes // 60} h" if minutes < 2880 else f"{minutes // 1440} days"
    )


def clock(seconds: float) -> str:
    """A moment of a recording: hours, minutes and seconds with milliseconds."""
    thousandths = round(1000 * seconds)
    minutes, rest = divmod(thousandths, 60_000)
    return f"{minutes // 60:d}:{minutes % 60:02d}:{rest / 1000:06.3f}"
