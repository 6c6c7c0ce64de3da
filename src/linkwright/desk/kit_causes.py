"""What was confirmed of faults, by the kit that they lay in: kept with the bag, and known on the next job."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Mapping

from linkwright.desk.answers import answers_of
from linkwright.desk.bagging import take_in
from linkwright.desk.names import Names
from linkwright.desk.snapshot import Snapshot
from linkwright.shoot.bag import Bag, Confirmed, Item, causes_of
from linkwright.shoot.errors import InputError
from linkwright.shoot.models import Link, Shoot
from linkwright.store import Store
from linkwright.store.kitbook import BagChange, own_bag
from linkwright.units import together
from linkwright.watch.diagnose.answers import counted
from linkwright.watch.diagnose.causes import CAUSES, words_of


def items_of(link: Link, bag: Bag, of: str = "") -> list[Item]:
    """The items of the bag that a link's transmitter and receivers are; of one kind only where it is said."""
    kit = {link.sends.kit, *(end.kit for end in link.hears)}
    return [item for item in bag.item if item.name in kit and of in ("", item.kind)]


def by_item(store: Store, snapshot: Snapshot, bag: Bag) -> dict[str, Counter[str]]:
    """How often each cause was confirmed on this job, by the item of the bag that it lay in."""
    shoot, by_name = snapshot.shoot, dict[str, Counter[str]]()
    links = {} if shoot is None else {snapshot.names.id_of("link", link.name): link for link in shoot.link}
    answers = answers_of(store)
    for name, link in links.items():
        mine = [answer for answer in answers if answer.link in (name, link.name)]
        for cause, times in counted(mine).items():
            if of := CAUSES[cause].of:
                for item in items_of(link, bag, of):
                    by_name.setdefault(item.name, Counter())[cause] += times
    return by_name


def kit_says(store: Store, snapshot: Snapshot) -> list[str]:
    """What was confirmed on this job with the kit of the bag, a sentence an item; nothing of a damaged bag."""
    try:
        by_name = by_item(store, snapshot, own_bag())
    except InputError:
        return []
    return [says_of(name, causes) for name, causes in by_name.items()]


def says_of(name: str, causes: Mapping[str, int]) -> str:
    """What was confirmed with an item, a sentence."""
    told = together([f"{words_of(cause)} ({times})" for cause, times in causes.items()])
    return f"Confirmed with {name}: {told}."


def keep_with_kit(store: Store, snapshot: Snapshot, who: str, now: datetime.datetime) -> BagChange | None:
    """Keep with the bag what was confirmed on this job, in the place of what was kept of it before; None where it
    stands so already. Raises InputError where there is nothing to keep."""
    bag, shoot = own_bag(), snapshot.shoot
    by_name = by_item(store, snapshot, bag)
    if shoot is None or not by_name:
        raise InputError("no fault of a piece of the bag was confirmed on this job")
    title, date = shoot.shoot.title, shoot.shoot.date
    items = []
    for item in bag.item:
        if item.name in by_name:
            earlier = [known for known in item.confirmed if (known.shoot, known.date) != (title, date)]
            today = [
                Confirmed(cause=cause, times=times, shoot=title, date=date)
                for cause, times in sorted(by_name[item.name].items())
            ]
            items.append(item.model_copy(update={"confirmed": (*earlier, *today)[-500:]}))
    return take_in(items, who, now)


def confirmed_with(shoot: Shoot | None, names: Names) -> dict[str, Counter[str]]:
    """How often each cause was confirmed on other jobs with the kit of each link, by the link's id."""
    try:
        bag = own_bag()
    except InputError:
        return {}  # a damaged bag is told on its own page
    if shoot is None or not any(item.confirmed for item in bag.item):
        return {}
    this = (shoot.shoot.title, shoot.shoot.date)
    confirmed = {}
    for link in shoot.link:
        known = (each for item in items_of(link, bag) for each in item.confirmed)
        if causes := causes_of(each for each in known if (each.shoot, each.date) != this):
            confirmed[names.id_of("link", link.name)] = causes
    return confirmed
