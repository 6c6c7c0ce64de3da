"""The documentation tells the truth: pages made from code are up to date, and everything is in them."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from linkwright.cli import COMMANDS
from linkwright.plan.findings import CODES
from linkwright.plan.model import Plan
from linkwright.shoot.models import Shoot

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    "script", ["make_reference.py", "make_checks_table.py", "make_roles_table.py", "refresh_readme.py"]
)
def test_made_pages_are_up_to_date(script: str) -> None:
    done = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / script), "--check"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_every_command_and_code_is_documented() -> None:
    reference = (ROOT / "docs" / "reference.md").read_text("utf-8")
    findings = (ROOT / "docs" / "findings.md").read_text("utf-8")
    assert [name for name in COMMANDS if f"`linkwright {name}" not in reference] == []
    assert [code for code in CODES if f"| `{code}` |" not in findings] == []


def _properties(schema: object) -> set[str]:
    found: set[str] = set()
    if isinstance(schema, dict):
        found |= set(schema.get("properties", {}))
        for inner in schema.values():
            found |= _properties(inner)
    elif isinstance(schema, list):
        for inner in schema:
            found |= _properties(inner)
    return found


@pytest.mark.parametrize("model", [Shoot, Plan])
def test_every_field_is_documented(model: type[Shoot] | type[Plan]) -> None:
    reference = (ROOT / "docs" / "reference.md").read_text("utf-8")
    fields = _properties(model.model_json_schema(by_alias=True))
    assert len(fields) > 20
    assert [name for name in sorted(fields) if f"| `{name}` |" not in reference] == []


def test_links_between_pages_lead_somewhere() -> None:
    for page in [*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")]:
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text("utf-8")):
            assert (page.parent / target).exists(), f"{page.name} points to {target}"


def test_the_site_is_made_whole_and_every_decision_is_listed(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "--site-dir", str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "In hand" in (tmp_path / "nomenclature" / "index.html").read_text("utf-8").replace("in hand", "In hand")
    listed = (ROOT / "docs" / "decisions" / "README.md").read_text("utf-8")
    assert [page.name for page in (ROOT / "docs" / "decisions").glob("0*.md") if page.name not in listed] == []


def test_every_test_that_a_page_names_is_there() -> None:
    named = set(re.findall(r"`(test_\w+)`", (ROOT / "docs" / "security.md").read_text("utf-8")))
    there = {
        name
        for file in (ROOT / "tests").rglob("test_*.py")
        for name in re.findall(r"def (test_\w+)", file.read_text())
    }
    assert named
    assert named <= there


def test_vendored_files_are_what_the_manifest_says(tmp_path: Path) -> None:
    sys.path.insert(0, str(ROOT / "scripts"))
    from check_vendored import problems  # type: ignore[import-not-found]

    assert list(problems(ROOT)) == []
    (tmp_path / "vendored.toml").write_text('[[file]]\npath = "a.js"\nsha256 = "00"\nlicence = "a.txt"\n', "utf-8")
    assert len(list(problems(tmp_path))) == 2
    (tmp_path / "a.js").write_text("x", "utf-8")
    (tmp_path / "a.txt").write_text("licence", "utf-8")
    assert [problem for problem in problems(tmp_path) if "differs" in problem]
