"""What one room hands to the next does not change in its hands (CONTRIBUTING.md: one snapshot)."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil

import pytest

import linkwright

#: What is filled step by step inside the function that makes it.
FILLED = {
    "linkwright.plan.pieces": {"Making"},
    "linkwright.plan.site": {"Slots"},
    "linkwright.reach.regress": {"_State"},
    "linkwright.shoot.event": {"_Event", "_Crew"},
}


@pytest.mark.parametrize("room", ["assign", "plan", "reach", "rules", "shoot"])
def test_results_are_frozen(room: str) -> None:
    for module in pkgutil.walk_packages([f"{linkwright.__path__[0]}/{room}"], f"linkwright.{room}."):
        made = vars(importlib.import_module(module.name)).values()
        classes = [
            c for c in made if isinstance(c, type) and c.__module__ == module.name and dataclasses.is_dataclass(c)
        ]
        changing = {c.__name__ for c in classes if not c.__dataclass_params__.frozen}  # type: ignore[attr-defined]
        assert changing == FILLED.get(module.name, set())
