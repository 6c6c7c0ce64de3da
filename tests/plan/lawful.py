"""What the law leaves, worked out anew from plain values, sharing no code with `rules/`, to judge plans."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import linkwright

Row = dict[str, Any]
CEPT = Path(linkwright.__file__).parent / "rules" / "data" / "cept.toml"


def wrong(
    carrier_khz: int, power_mw: float, law: dict[str, Any], crew: dict[str, Any], kit: dict[str, Any]
) -> str | None:
    """Why nobody may transmit with this carrier [kHz] and conducted power [mW]; None where somebody may.

    law: `row`, `closed`, `warning` as in a data file. crew: `permits`, `accepts`, `indoor`, `licences`.
    kit: `width_khz`, `form`, `gain_dbi`.
    """
    low, high = carrier_khz - kit["width_khz"] / 2, carrier_khz + kit["width_khz"] / 2

    def touched(span: Row) -> bool:
        return bool(low < span["to_khz"] and high > span["from_khz"])

    def mw(limit: float, reference: str) -> float:
        less_db = {"conducted": 0.0, "eirp": kit["gain_dbi"], "erp": kit["gain_dbi"] - 2.15}[reference]
        return float(limit * 10 ** (-less_db / 10))

    def stated(row: Row) -> float:
        limits = [row, *(step for step in row.get("step", ()) if touched(step))]
        worn = kit["form"] == "body-worn"
        least = min((worn and one.get("max_body_worn_mw")) or one["max_mw"] for one in limits)
        return mw(least, row["power_reference"])

    limited = [row for row in law["row"] if "max_mw" in row]
    cept = [row for row in tomllib.loads(CEPT.read_text("utf-8"))["row"] if "max_mw" in row and "kind" not in row]
    here = [stated(row) for row in (*limited, *cept) if touched(row)]
    strictest = min(here or [stated({**row, "step": ()}) for row in limited], default=0.0)

    def limit(row: Row) -> float:
        return stated(row) if "max_mw" in row else strictest

    def fits(row: Row) -> bool:
        listed = row.get("carriers_khz")
        grid = carrier_khz in listed if listed else (carrier_khz - row["from_khz"]) % row.get("raster_khz", 1) == 0
        return bool(row["from_khz"] <= low and high <= row["to_khz"] and grid)

    def meets(row: Row) -> bool:
        outside = row.get("indoor") and not crew["indoor"] and f"{row['id']}/outdoors" not in crew["accepts"]
        return not outside and ("service" not in row or row["id"] in crew["accepts"])

    shut = [one["id"] for one in law["closed"] if touched(one)]
    for one in law["warning"]:
        opened = one["severity"] == "note" or (one["severity"] == "warn" and one["id"] in crew["accepts"])
        if touched(one) and not opened and not {*one["settled_by"]} & {*crew["permits"], *crew["accepts"]}:
            shut.append(one["id"])
    ways = [0.0]
    if not any(one["only"] for one in crew["licences"]) and not shut:
        ways += [
            limit(row)
            for row in law["row"]
            if fits(row) and meets(row) and row.get("permit") in (None, *crew["permits"])
            and kit["width_khz"] <= row.get("bandwidth_khz", math.inf)
        ]  # fmt: skip
    for one in crew["licences"]:
        listed = any(abs(1000 * mhz - carrier_khz) < 0.5 for mhz in one.get("carriers_mhz", ()))
        listed |= any(1000 * a <= low + 1e-6 and high <= 1000 * b + 1e-6 for a, b in one.get("ranges_mhz", ()))
        if listed and {*shut} <= {*one["outranks"]}:
            own = mw(one["max_mw"], one["power_reference"]) if "max_mw" in one else strictest
            bound = [row for row in law["row"] if fits(row) and row["id"] not in one["outranks"]]
            ways.append(min(own, max((limit(row) for row in bound if meets(row)), default=0.0)) if bound else own)
    if power_mw > max(ways) * (1 + 1e-9):
        return f"{carrier_khz} kHz with {power_mw} mW; {max(ways)} mW may be used, closed by {shut}"
    return None
