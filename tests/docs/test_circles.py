"""The check of `make lint` that no module imports another in a circle."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from typing import Any

import pytest

SCRIPT = Path(__file__).parents[2] / "scripts" / "check_circles.py"


def script() -> Any:
    spec = importlib.util.spec_from_file_location("check_circles", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_a_circle_is_found_also_where_an_import_is_inside_a_function(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    house = tmp_path / "a_house"
    house.mkdir()
    (house / "__init__.py").write_text("", "utf-8")
    (house / "one.py").write_text("import a_house.two\n", "utf-8")
    (house / "two.py").write_text("def late():\n    from a_house import three\n", "utf-8")
    (house / "three.py").write_text("from a_house.one import a_house\n", "utf-8")
    (house / "four.py").write_text("import a_house.one\n", "utf-8")
    monkeypatch.setattr(sys, "path", [str(tmp_path), *sys.path])
    assert script().circles("a_house") == [["a_house.one", "a_house.three", "a_house.two"]]
