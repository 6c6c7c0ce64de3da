"""Check the types of the pages' scripts with the TypeScript compiler, where node is at hand; else say so."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent / "typescript"
#: Where the compiler is laid: beside Python's packages, so that the tree stays as it is.
LAID = Path(sys.prefix) / "typescript"


def main() -> int:
    """The compiler's answer; 0 where there is no node."""
    npm = shutil.which("npm")
    if npm is None or shutil.which("node") is None:
        print("The pages' scripts were not checked: there is no node here.")
        return 0
    compiler = LAID / "node_modules" / ".bin" / "tsc"
    if not compiler.exists():
        LAID.mkdir(exist_ok=True)
        for name in ("package.json", "package-lock.json"):
            shutil.copy(HERE / name, LAID)
        laid = subprocess.run([npm, "ci", "--no-audit", "--no-fund", "--prefix", str(LAID)], check=False)
        if laid.returncode:
            print("The pages' scripts were not checked: the compiler could not be fetched.")
            return 0
    return subprocess.run([str(compiler), "-p", str(HERE)], check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
