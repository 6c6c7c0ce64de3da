"""Suspects and question as plain values, for files."""

from __future__ import annotations

from typing import Any

from linkwright.plan.hunt.case import Hunt


def document(found: Hunt) -> dict[str, Any]:
    """What is suspected and what to ask next, as `linkwright hunt --json` has it."""
    return {
        "suspects": [
            {
                "kind": one.suspect.kind, "who": list(one.suspect.who), "says": one.suspect.says,
                "probability": round(one.probability, 3), "level_dbm": round(one.suspect.level_dbm, 1),
                "evidence": list(one.suspect.evidence),
            }
            for one in found.ranked
        ],
        "question": None if found.question is None else {
            "off": found.question.who, "says": found.question.says, "bits": found.question.bits,
        },
    }  # fmt: skip
