"""`linkwright hunt` from outside."""

from __future__ import annotations

import json
from pathlib import Path
from typing import cast

import pytest
from tests.cli.calling import call
from tests.cli.test_event_command import EVENT, crew, written


@pytest.fixture
def event(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> dict[str, int]:
    """Two crews at the same time and one later, as `whole.toml` with `plan.json`; who has which carrier [kHz]."""
    monkeypatch.chdir(tmp_path)
    names = written(tmp_path, event=EVENT, a=crew("Radio A"), b=crew("Radio B"), c=crew("Radio C", 14))
    call(capsys, "event", *names, "--write-shoot", "whole.toml", "-o", "plan.json")
    plan = json.loads((tmp_path / "plan.json").read_text("utf-8"))
    return {link["link"]: link["carrier_khz"] for one in plan["calls"] for link in one["links"]}


def asked(capsys: pytest.CaptureFixture[str], khz: int, *more: str) -> dict[str, list[dict[str, object]]]:
    done = call(
        capsys, "hunt", "whole.toml", f"{khz / 1000}", "--at", "North stand", "--since", "10:00",
        "--plan", "plan.json", "--json", *more,
    )  # fmt: skip
    assert done.status in (0, 1), done.err
    found: dict[str, list[dict[str, object]]] = json.loads(done.out)
    return found


def test_who_is_on_before_the_hour_is_found(event: dict[str, int], capsys: pytest.CaptureFixture[str]) -> None:
    late = "Radio C: Guest"
    suspects = asked(capsys, event[late], "--heard", "North stand=-45", "--link", "Radio A: Guest")["suspects"]
    assert suspects[0]["who"] == [late]
    assert "not now" in suspects[0]["evidence"][0]  # type: ignore[index]


def test_answers_narrow_it(event: dict[str, int], capsys: pytest.CaptureFixture[str]) -> None:
    mine = event["Radio A: Presenter"]
    first = asked(capsys, mine)
    question = first["question"]["off"]  # type: ignore[call-overload]
    cleared = asked(capsys, mine, "--answer", f"off:{question}=clear")["suspects"]
    broken = asked(capsys, mine, "--answer", f"off:{question}=broken")["suspects"]

    def share(suspects: list[dict[str, object]]) -> float:
        crew = {question, *(name for name in event if name.startswith(f"{question}:"))}
        theirs = [one for one in suspects if crew & set(map(str, cast("list[str]", one["who"])))]
        return sum(float(str(one["probability"])) for one in theirs)

    assert share(cleared) > share(first["suspects"]) > share(broken)
    assert sum(float(str(one["probability"])) for one in cleared) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--at", "Nowhere", "--since", "10:00"], 'there is no site "Nowhere"'),
        (["--at", "North stand", "--since", "ten"], '--since is "ten"; expected a time such as 14:05'),
        (["--at", "North stand", "--since", "10:00", "--heard", "x"], '--heard is "x"'),
        (["--at", "North stand", "--since", "10:00", "--heard", "North stand=nan"], "expected a level from -150"),
        (["--at", "North stand", "--since", "10:00", "--answer", "off:X=maybe"], '--answer is "off:X=maybe"'),
        (
            ["--at", "North stand", "--since", "10:00", "--answer", "off:Radio=clear"],
            'names "Radio", which is no link or crew',
        ),
    ],
)
def test_what_cannot_be_asked(
    event: dict[str, int], more: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert event
    done = call(capsys, "hunt", "whole.toml", "523.125", "--plan", "plan.json", *more)
    assert done.status == 2
    assert says in done.err


def test_it_reads_as_sentences(event: dict[str, int], capsys: pytest.CaptureFixture[str]) -> None:
    mine = event["Radio A: Presenter"] / 1000
    done = call(
        capsys, "hunt", "whole.toml", f"{mine}", "--at", "North stand", "--since", "10:00", "--plan", "plan.json"
    )
    assert f"{mine:.3f} MHz at North stand" in done.out
    assert "Ask next: With" in done.out
