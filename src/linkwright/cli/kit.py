"""`linkwright kit`: the bag and the catalogue."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

if TYPE_CHECKING:
    import datetime
    from collections.abc import Callable

    from linkwright.shoot.bag import Bag, Held, Item
    from linkwright.store.kitbook import BagChange

#: By whom the bag is changed here.
WHO: Final = "the command line"
#: What can be done, and the words that follow.
ACTIONS: Final = {
    "list": (), "show": ("NAME",), "add": ("NAME",), "measure": ("NAME", "WHAT"), "remove": ("NAME",),
    "permit": ("NAME",),
    "export": ("FILE",), "import": ("FILE",), "write": ("NAME", "SHOOT"),
}  # fmt: skip


# long and wide: an argument or option of the command each
def run(
    action: Annotated[
        str, typer.Argument(help="list, show, add, measure, permit, remove, export, import, or write into a shoot")
    ] = "list",
    words: Annotated[
        list[str] | None, typer.Argument(help="the item's name; of measure also what; or a file")
    ] = None,
    as_: Annotated[
        str | None, typer.Option("--as", help="add: its class in words, such as 'body-worn 470-694'")
    ] = None,
    count: Annotated[int | None, typer.Option(min=1, max=1000, help="add: how many of it there are")] = None,
    mark: Annotated[str | None, typer.Option(help="add: a colour or another mark")] = None,
    serial: Annotated[str | None, typer.Option(help="add: its serial number")] = None,
    cells: Annotated[str | None, typer.Option(help="add: its cells, such as '2 AA nimh 2000'")] = None,
    carriers: Annotated[
        str | None, typer.Option(help="add: what its display shows, a CSV of label, mhz and perhaps group")
    ] = None,
    with_: Annotated[
        list[str] | None,
        typer.Option("--with", help="add, permit: a figure of its own, such as 'noise_figure_db = 6'"),
    ] = None,
    out_of: Annotated[str | None, typer.Option(help="permit: the shoot that has it, as [[permit]]")] = None,
    is_: Annotated[str | None, typer.Option("--is", help="measure: the value, in the unit of what it is")] = None,
    how: Annotated[str | None, typer.Option(help="measure: with what, by whom")] = None,
    at_mw: Annotated[float | None, typer.Option(help="measure: the power step it was measured at")] = None,
    on: Annotated[str | None, typer.Option(help="measure: the day; default: today")] = None,
    json: Annotated[bool, typer.Option("--json", help="print as JSON")] = False,
) -> None:
    """What this crew owns, kept for all shoots, and the classes of the catalogue, with figures in words.

    An item that is added again with other words is changed. What was measured of it outranks its other figures and
    stays with it. The bag is the file kit.toml in your data folder.
    """
    from linkwright.shoot.errors import InputError, did_you_mean
    from linkwright.store.kitbook import own_bag

    given = words or []
    if action not in ACTIONS:
        raise InputError(f'"{action}" is nothing to do with the bag{did_you_mean(action, ACTIONS)}; {_usage()}')
    if len(given) != len(ACTIONS[action]):
        raise InputError(f"expected `linkwright kit {' '.join((action, *ACTIONS[action]))}`")
    bag = own_bag()
    if action == "list":
        _list(bag, json)
    elif action == "show":
        _show(_named(bag, given[0]), json)
    elif action == "add":
        own = {"count": count, "mark": mark, "serial": serial, "cells": cells, "carriers": carriers}
        _change(given[0], lambda there: _added(there, given[0], as_, own, with_ or []), json)
    elif action == "measure":
        from linkwright.cli.options import day_of
        from linkwright.desk.bagging import measured

        _change(given[0], measured(given[0], given[1], is_, how or "", at_mw, day_of(on, "--on")), json)
    elif action == "permit":
        _permit(bag, given[0], with_ or [], out_of, json)
    elif action == "remove" and bag.named(given[0]) is None and bag.licence(given[0]) is not None:
        from linkwright.desk.bagging import take_out_permit

        _told(take_out_permit(given[0], WHO, _now()), given[0], json)
    elif action == "remove":
        _change(given[0], lambda there: _owned(there, given[0]) and None, json)
    elif action == "write":
        _write(bag.named(given[0]) or bag.licence(given[0]) or _owned(None, given[0]), given[1], json)
    else:
        _carry(action, bag, given[0], json)


def _usage() -> str:
    return f"expected one of {', '.join(ACTIONS)}"


def _owned(item: Item | None, name: str) -> Item:
    from linkwright.desk.bagging import owned

    return owned(item, name)


def _named(bag: Bag, name: str) -> Item:
    """The item of the bag, else the class of the catalogue. Raises InputError."""
    from linkwright.desk.bag import class_item, class_named

    return bag.named(name) or class_item(class_named(name))


def _added(there: Item | None, name: str, as_: str | None, own: dict[str, Any], figures: list[str]) -> Item:
    """The item as it is after what was said of it. Raises InputError."""
    from linkwright.desk.bag import class_named
    from linkwright.desk.bagging import cells_meant
    from linkwright.shoot.bag import item_of
    from linkwright.shoot.errors import InputError
    from linkwright.shoot.toml import parse_toml
    from linkwright.store.kitbook import read_carriers

    fields: dict[str, Any] = {"name": name} if there is None else there.document()
    if as_ is not None:
        fields["use"] = class_named(as_)
    for figure in figures:
        fields |= parse_toml(figure, "--with")
    if isinstance(own["carriers"], str):
        own["carriers"] = read_carriers(Path(own["carriers"]))
    if isinstance(own["cells"], str):
        own["cells"] = cells_meant(own["cells"])
    fields |= {key: value for key, value in own.items() if value is not None}
    if "use" not in fields and "kind" not in fields:
        raise InputError(
            "say what it is with --as, by a class's words such as 'body-worn 470-694'; `linkwright kit` lists them"
        )
    return item_of(fields)


def _now() -> datetime.datetime:
    import datetime

    return datetime.datetime.now(datetime.UTC)


def _change(name: str, alter: Callable[[Item | None], Item | None], json: bool) -> None:
    """Change an item, and show it as it is since."""
    from linkwright.desk.bagging import change

    _told(change(name, alter, WHO, _now()), name, json)


def _told(line: BagChange | None, name: str, json: bool) -> None:
    """What was changed, and the item as it is since."""
    from linkwright.cli.output import console, print_json
    from linkwright.desk.bagging import says
    from linkwright.store.kitbook import bag_file, own_bag

    item = own_bag().named(name)
    if json:
        print_json({"file": str(bag_file()), "item": None if item is None else _document(item)})
        return
    console().print(says(line) if line is not None else f"{name} is so already.")
    if item is not None:
        _show(item, json=False)


def _permit(bag: Bag, name: str, figures: list[str], out_of: str | None, json: bool) -> None:
    """A licence into the bag: out of a shoot, or by what it says. Raises InputError."""
    from linkwright.desk.bagging import take_in
    from linkwright.shoot.bag import permit_document, permit_of
    from linkwright.shoot.errors import InputError, did_you_mean
    from linkwright.shoot.reading import read_shoot
    from linkwright.shoot.toml import parse_toml

    there = bag.licence(name)
    fields: dict[str, Any] = {"name": name} if there is None else permit_document(there)
    if out_of is not None:
        shoot = read_shoot(Path(out_of))
        known = {permit.name: permit for permit in shoot.permit}
        if name not in known:
            near = did_you_mean(name, known) or f"; it has {', '.join(known) or 'none'}"
            raise InputError(f'has no permit "{name}"{near}', path=out_of)
        fields = {"region": shoot.shoot.region, **permit_document(known[name])}
    for figure in figures:
        fields |= parse_toml(figure, "--with")
    _told(take_in([permit_of(fields)], WHO, _now()), name, json)


def _carry(action: str, bag: Bag, file: str, json: bool) -> None:
    """The bag out into a file, or another's into this one: items of one name are replaced."""
    from linkwright.cli.output import console, print_json, write_text
    from linkwright.desk.archive import bag_in
    from linkwright.shoot.bag import write_bag
    from linkwright.units import counted, together

    came = bag
    if action == "export":
        write_text(file, write_bag(bag))
    else:
        from linkwright.desk.bagging import take_in

        came = bag_in(Path(file))
        take_in(came.held, WHO, _now())
    if json:
        print_json(
            {"items": [item.name for item in came.item], "permits": [licence.name for licence in came.permit]}
        )
    elif file != "-":
        items = together(
            [counted(len(came.item), "item"), *([counted(len(came.permit), "permit")] if came.permit else [])]
        )
        console().print(f"{items} written to {file}." if action == "export" else f"{items} taken into the bag.")


def _write(item: Held, shoot: str, json: bool) -> None:
    """An item or a licence as it is now into a shoot file, whose own words stay as they are."""
    from linkwright.cli.output import console, print_json, write_text
    from linkwright.shoot.bag import Item, section
    from linkwright.shoot.errors import InputError
    from linkwright.shoot.reading import MOST_BYTES, parse_document, parse_shoot, read_text

    text = read_text(Path(shoot), shoot, MOST_BYTES)
    kind = item.kind if isinstance(item, Item) else "permit"
    there = parse_document(text, shoot).get(kind) or ()
    names = there if isinstance(there, dict) else [entry.get("name") for entry in there if isinstance(entry, dict)]
    if item.name in names:
        raise InputError(f"has {kind} {item.name} already; take that out to have it written anew", path=shoot)
    grown = f"{text.rstrip()}\n\n{section(item)}"
    parse_shoot(grown, shoot)
    write_text(shoot, grown, grown=True)
    if json:
        print_json({"file": shoot, "item": item.name})
    else:
        use = f': {kind} = "{item.name}"' if kind != "permit" else ""
        console().print(f"{item.name} stands in {shoot} now{use}.")


def _document(item: Item) -> dict[str, Any]:
    from linkwright.desk.bag import figures
    from linkwright.shoot.catalogue import called

    use = item.equipment.use
    return {
        "name": item.name, "kind": item.kind, "class": None if use is None else called(use), "count": item.count,
        "mark": item.equipment.mark, "serial": item.equipment.serial,
        "figures": [
            {"what": figure.what, "value": figure.value, "evidence": figure.evidence, "source": figure.source}
            for figure in figures(item.equipment)
        ],
    }  # fmt: skip


def _list(bag: Bag, json: bool) -> None:
    """The bag and the classes."""
    from linkwright.cli.output import console, print_json, print_table
    from linkwright.desk.bag import class_item, in_short
    from linkwright.desk.bagging import permit_lists
    from linkwright.shoot.bag import KINDS
    from linkwright.shoot.catalogue import called, catalogue_names
    from linkwright.store.kitbook import bag_file

    classes = {kind: [class_item(name) for name in catalogue_names(kind)] for kind in KINDS}
    if json:
        listed = [_document(item) for items in classes.values() for item in items]
        licences = [{"name": permit.name, "lists": permit_lists(permit)} for permit in bag.permit]
        mine = [_document(item) for item in bag.item]
        print_json({"file": str(bag_file()), "bag": mine, "permits": licences, "classes": listed})
        return
    out = console()
    if bag.item:
        rows = [
            (i.name, str(i.count), called(i.equipment.use or i.kind), i.equipment.mark or "", in_short(i.equipment))
            for i in bag.item
        ]
        out.print("The bag", style="bold")
        print_table(out, ("item", "how many", "class", "mark", "figures"), rows, right=("how many",))
    else:
        out.print(
            "The bag is empty: `linkwright kit add NAME --as 'body-worn 470-694'` puts something in.", style="bold"
        )
    if bag.permit:
        out.print()
        licences_told = [(permit.name, permit.number or "", permit_lists(permit)) for permit in bag.permit]
        print_table(out, ("permit", "number", "lists"), licences_told)
    out.print()
    out.print("Classes of the catalogue: every figure is assumed until the bag says otherwise", style="bold")
    for kind, items in classes.items():
        out.print()
        print_table(out, (f"{kind}s", "figures"), [(item.name, in_short(item.equipment)) for item in items])


def _show(item: Item, json: bool) -> None:
    """One item with every figure."""
    from linkwright.cli.output import console, print_json, print_table
    from linkwright.desk.bag import figures
    from linkwright.shoot.catalogue import about_class
    from linkwright.shoot.equipment import Tuned

    if json:
        print_json(_document(item))
        return
    out, equipment = console(), item.equipment
    about = None if equipment.use is None else about_class(equipment.use)
    what = item.kind if about is None else about.called
    told = [f"{item.count} of it" if item.count > 1 else "", equipment.mark and f"marked {equipment.mark}",
            equipment.serial and f"serial {equipment.serial}"]  # fmt: skip
    name = item.name if item.name == what else f"{item.name}: {what}"
    out.print(", ".join(filter(None, (name, *told))), style="bold")
    rows = [(figure.what, figure.value, figure.evidence, figure.source) for figure in figures(equipment)]
    print_table(out, ("", "figure", "evidence", "source"), rows)
    if about is not None and about.source:
        out.print(f"The range: {about.source}.")
    if isinstance(equipment, Tuned) and equipment.carriers:
        shown = ", ".join(f"{carrier.label} = {carrier.mhz:.3f}" for carrier in equipment.carriers[:8])
        more = f" and {len(equipment.carriers) - 8} more" if len(equipment.carriers) > 8 else ""
        out.print(f"Its display shows {shown}{more} MHz; plans choose from these alone.")
