"""No command writes over what it read, nor over a file of another kind."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from tests.cli.calling import call
from tests.plan.shoots import QUAY

LIST = "frequency,bandwidth,who\n523.125,0.2,Them\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, text in (
        ("job.toml", QUAY.read_text("utf-8")),
        ("theirs.csv", LIST),
        ("notes.pdf", "%PDF-1.7 notes"),
    ):
        (tmp_path / name).write_text(text, "utf-8")
    (tmp_path / "plan.json").write_bytes(b"")
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["plan", "job.toml", "-o", "job.toml"], "job.toml: is named twice"),
        (["plan", "job.toml", "-o", "./theirs.csv"], "theirs.csv: is a table or text and would become a file of"),
        (["plan", "job.toml", "-o", "notes.pdf"], "notes.pdf: is a PDF and would become a file of the kind plan"),
        (["simulate", "job.toml", "--hours", "0.01", "-o", "job.toml"], "job.toml: is named twice"),
        (
            ["simulate", "job.toml", "--hours", "0.01", "-o", "notes.pdf"],
            "notes.pdf: is a PDF and would become a table",
        ),
        (["neighbours", "job.toml", "--export", "job.toml"], "job.toml: is named twice"),
        (["neighbours", "job.toml", "theirs.csv", "--export", "theirs.csv"], "theirs.csv: is named twice"),
        (["neighbours", "job.toml", "theirs.csv", "-o", "job.toml"], "job.toml: is named twice"),
        (["hit", "job.toml", "523.125", "-o", "job.toml"], "job.toml: is named twice"),
        (["plan", "job.toml", "-o", "."], ".: is there and is no regular file"),
    ],
)
def test_what_is_there_stays(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    says: str,
) -> None:
    monkeypatch.chdir(folder)
    before = {one.name: one.read_bytes() for one in folder.iterdir()}
    said = call(capsys, *arguments)
    assert said.status == 2
    assert says in said.err
    assert {one.name: one.read_bytes() for one in folder.iterdir()} == before


def test_under_another_name_it_is_the_same_file(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    os.link("job.toml", "again.toml")
    assert "is named twice" in call(capsys, "plan", "job.toml", "-o", "again.toml").err


def test_a_plan_is_replaced_by_a_plan_but_not_where_it_is_kept_to(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    for _ in range(2):
        assert call(capsys, "plan", "job.toml", "-o", "plan.json").status in (0, 1)
    assert call(capsys, "plan", "job.toml", "--keep", "plan.json", "-o", "plan.json").status == 2


def test_what_a_shoot_names_is_read_too(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    (folder / "air.csv").write_text("\n".join(f"{520 + 0.025 * n:.3f},-100" for n in range(400)))
    text = (folder / "job.toml").read_text("utf-8").replace("[[site]]", '[[site]]\nsweeps = ["air.csv"]', 1)
    (folder / "job.toml").write_text(text, "utf-8")
    said = call(capsys, "neighbours", "job.toml", "--export", "air.csv")
    said = (
        call(capsys, "--force", "simulate", "job.toml", "--hours", "0.01", "-o", "air.csv")
        if not said.status
        else said
    )
    assert (said.status, "air.csv: was read by this command" in said.err) == (2, True)
    assert (folder / "air.csv").read_text().startswith("520.000,-100")


def test_force_writes_over_another_kind_but_never_over_what_was_read(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    assert "`linkwright --force ...`" in call(capsys, "plan", "job.toml", "-o", "notes.pdf").err
    assert call(capsys, "--force", "plan", "job.toml", "-o", "notes.pdf").status in (0, 1)
    assert (folder / "notes.pdf").read_text().startswith('{\n "format": "linkwright-plan/2"')
    assert "is named twice" in call(capsys, "--force", "plan", "job.toml", "-o", "job.toml").err
