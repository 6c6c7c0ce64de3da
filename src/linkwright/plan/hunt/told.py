"""Suspects and question as plain values, for files."""

from __future__ import annotations

from typing import Any

from linkwright.plan.hunt.case import Hunt


def document(hunt: Hunt) -> dict[str, Any]:
    """What is suspected and what to ask next, as `linkwright hunt --json` has it."""
    return {
        "suspects": [
            {
                "kind": ranked.suspect.kind, "who": list(ranked.suspect.who), "says": ranked.suspect.says,
                "probability": round(ranked.probability, 3), "level_dbm": round(ranked.suspect.level_dbm, 1),
                "evidence": list(ranked.suspect.evidence),
            }
            for ranked in hunt.ranked
        ],
        "question": None if hunt.question is None else {
            "off": hunt.question.who, "says": hunt.question.says, "bits": hunt.question.bits,
        },
    }  # fmt: skip
