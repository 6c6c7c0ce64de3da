"""compose.yaml: the parts that docs/event-serving.md names, with options that the commands have."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml  # type: ignore[import-untyped]

ROOT = Path(__file__).parents[2]


def services() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load((ROOT / "compose.yaml").read_text("utf-8"))["services"]
    return found


def test_every_part_is_there() -> None:
    assert set(services()) == {"db", "serve-1", "serve-2", "scheduler", "worker-1", "worker-2"}


def test_what_serves_is_called_with_options_that_there_are() -> None:
    reference = (ROOT / "docs" / "reference.md").read_text("utf-8")
    (row,) = (line for line in reference.splitlines() if line.startswith("| `linkwright serve"))
    for name in ("serve-1", "serve-2"):
        command = services()[name]["command"]
        assert command[0] == "serve"
        assert [option for option in command if option.startswith("--") and f"`{option}`" not in row] == []
        assert {"--database", "--behind"} <= set(command)


def test_no_password_stands_in_it_and_nothing_is_open_to_the_network() -> None:
    for name, service in services().items():
        ports = service.get("ports", [])
        assert all(port.startswith("127.0.0.1:") for port in ports), name
    text = (ROOT / "compose.yaml").read_text("utf-8")
    assert text.count("POSTGRES_PASSWORD:?") == 2
    assert "tcp://" not in text, "a scheduler runs whatever is sent to it: TLS alone"
