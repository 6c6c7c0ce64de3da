"""`linkwright neighbours`: swap carriers with other crews."""

from __future__ import annotations

from typing import Annotated, Any

import typer

#: Largest list that is read [bytes].
MOST_BYTES = 8 * 1024 * 1024


# long and wide: an argument or option of the command each
def run(
    shoot: Annotated[str, typer.Argument(help="the shoot file; - is standard input")],
    theirs: Annotated[
        list[str] | None,
        typer.Argument(help="lists of other crews' carriers, CSV or JSON; files or addresses (https://...)"),
    ] = None,
    export: Annotated[str | None, typer.Option(help="write our own list here; .json for JSON, else CSV")] = None,
    out: Annotated[str | None, typer.Option("-o", "--out", help="write the shoot with their carriers here")] = None,
    before: Annotated[
        str | None, typer.Option(help="the list that they sent before: what is new, gone, changed is told")
    ] = None,
    token: Annotated[str, typer.Option(help="their key, for an address", envvar="LINKWRIGHT_LIST_KEY")] = "",
    fingerprint: Annotated[
        str, typer.Option(help="SHA-256 of their certificate, for an address that nobody vouches for")
    ] = "",
    keep: Annotated[str | None, typer.Option(help="write what was fetched here, to hold the next against")] = None,
    plan: Annotated[str | None, typer.Option(help="our plan; default: plan now, without them")] = None,
    json: Annotated[bool, typer.Option("--json", help="print everything as JSON")] = False,
) -> None:
    """Swap carriers with other crews: write ours as an open list, hold theirs against our plan.

    Exit status: 0 every link keeps its verdict, 1 some do not, 2 bad input.
    """
    from pathlib import Path

    from linkwright.cli.output import console, print_json, progress, write_text
    from linkwright.desk.fetch import fetch, is_address
    from linkwright.desk.loading import load_shoot
    from linkwright.desk.neighbouring import said_of
    from linkwright.desk.planned import planned_scene
    from linkwright.plan.other_crews import hits, hits_sentence, with_others
    from linkwright.sheets.carriers import carriers_csv, carriers_json
    from linkwright.shoot.carrier_list import neighbours_of
    from linkwright.shoot.errors import InputError
    from linkwright.shoot.list_changes import differences
    from linkwright.shoot.reading import read_text
    from linkwright.shoot.writing import write_shoot

    if not theirs and export is None:
        raise InputError("neither a list of theirs nor --export FILE was given; expected one of them")
    if (before is not None or keep is not None) and len(theirs or ()) != 1:
        raise InputError("--before and --keep are about one list of theirs; expected one")
    if out is not None and not theirs:
        raise InputError("-o writes the shoot with their carriers; expected a list of theirs")
    read = load_shoot(shoot)
    grown, told, changes = read, [], None
    for name in theirs or ():
        text = read_text(Path(name), name, MOST_BYTES) if not is_address(name) else ""
        if is_address(name):
            fetched = fetch(name, token, fingerprint)
            text = fetched.text
            told.append(fetched.says)
        neighbours = neighbours_of(text, name, grown)
        grown = with_others(grown, neighbours.others)
        told += [f"{name}: {says}" for says in neighbours.told]
        if keep is not None:
            write_text(keep, text)
        if before is not None:
            alone = read.model_copy(update={"other": ()})
            then = neighbours_of(read_text(Path(before), before, MOST_BYTES), before, alone)
            changes = differences(then.others, neighbours_of(text, name, alone).others)
            told.append(said_of(name, changes).rstrip("."))
    with progress() as tell:
        planned = planned_scene(read, shoot, plan, tell)
        others = grown.other[len(read.other) :]
        found_hits = hits(planned.scene, planned.plan, others) if others else ()
    if export is not None:
        text = carriers_json(read, planned.plan) if export.endswith(".json") else carriers_csv(read, planned.plan)
        write_text(export, text)
    if out is not None:
        write_text(out, write_shoot(grown))
    if json:
        print_json(_document(found_hits, others, told, changes))
    elif theirs:
        _print(console(), hits_sentence(found_hits, len(others)), found_hits, told)
    raise typer.Exit(1 if any(hit.breaks for hit in found_hits) else 0)


def _document(hit_links: Any, others: Any, told: list[str], changes: Any) -> dict[str, Any]:
    from dataclasses import asdict

    differ = (
        {}
        if changes is None
        else {"since_before": [{"what": change.what, "says": change.says} for change in changes]}
    )
    return {
        **differ,
        "others": [other.model_dump(mode="json", by_alias=True, exclude_none=True) for other in others],
        "hits": [asdict(hit) for hit in hit_links],
        "told": told,
    }


def _print(out: Any, sentence: str, hit_links: Any, told: list[str]) -> None:
    from linkwright.cli.output import DISCS, print_table

    out.print(sentence, style="bold")
    for says in told:
        out.print(f"{says}.")
    rows = [
        (
            hit.link,
            hit.call,
            hit.shown,
            f"{hit.before_db:.1f} dB",
            "none" if hit.then_db is None else f"{hit.then_db:.1f} dB",
            f"{DISCS[hit.then]} {hit.then}",
        )
        for hit in hit_links
    ]
    if rows:
        print_table(
            out, ("link", "call", "MHz", "in hand", "then", "verdict"), rows, right=("MHz", "in hand", "then")
        )
