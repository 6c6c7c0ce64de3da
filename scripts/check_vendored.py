"""Check the files that are kept in the project from elsewhere against their manifest.

`vendored.toml` at the root has a table for each: path, sha256, version, licence (a file beside it) and where it
came from. A file that is missing, that differs, or whose licence is missing is told, and the status is 1.
"""

from __future__ import annotations

import hashlib
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


def problems(root: Path) -> Iterator[str]:
    """What is wrong with the vendored files under `root`, a sentence each."""
    manifest = tomllib.loads((root / "vendored.toml").read_text("utf-8"))
    for entry in manifest.get("file", []):
        path = root / entry["path"]
        if not path.is_file():
            yield f"{entry['path']} is missing"
        elif hashlib.sha256(path.read_bytes()).hexdigest() != entry["sha256"]:
            yield f"{entry['path']} is not what the manifest says: its SHA-256 differs"
        if not (root / entry["licence"]).is_file():
            yield f"{entry['path']}: its licence {entry['licence']} is missing"


def main() -> int:
    """Tell the problems; 1 where there is any."""
    found = list(problems(ROOT))
    count = len(tomllib.loads((ROOT / "vendored.toml").read_text("utf-8")).get("file", []))
    print("\n".join(found) or f"{count} vendored files, all as their manifest says")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
