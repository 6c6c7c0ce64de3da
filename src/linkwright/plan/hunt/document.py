"""Suspects and question as plain values, for files."""

from __future__ import annotations

from typing import Any

from linkwright.plan.hunt.case import Hunt


def document(hunt: Hunt) -> dict[str, Any]:
    """What is suspected and what to ask next, as `linkwright hunt --json` has it."""
    return {
        "suspects": [
            {
                "kind": guess.suspect.kind, "who": list(guess.suspect.who), "says": guess.suspect.says,
                "probability": round(guess.probability, 3), "level_dbm": round(guess.suspect.level_dbm, 1),
                "evidence": list(guess.suspect.evidence),
            }
            for guess in hunt.ranked
        ],
        "question": None if hunt.question is None else {
            "off": hunt.question.who, "says": hunt.question.says, "bits": hunt.question.bits,
        },
    }  # fmt: skip
