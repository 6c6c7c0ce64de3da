"""What crews ask and are told, in either store: the hatch gives each its own, and states are compared and set."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from linkwright.shoot.errors import InputError
from linkwright.store import Conflict, Given, Hatch, Store, WantedLinks
from linkwright.store.hatch import MOST_OPEN, SERVES

KIT = {"transmitter": "uhf-body-worn", "receiver": "uhf-camera-slot"}
DOCUMENT: dict[str, Any] = {
    "shoot": {"title": "Week", "region": "GB", "date": "2027-05-14"},
    "crew": [{"name": "A", "contact": "Ines"}, {"name": "B", "contact": "Bo"}],
    "site": [{"name": "Quay"}],
    "link": [{"name": "a", "crew": "A", **KIT}, {"name": "b", "crew": "B", **KIT}],
    "call": [{"name": "one", "links": ["a", "b"]}],
}


def job(place: str) -> tuple[Store, dict[str, str]]:
    """A store with two crews, and all ids by name."""
    store = Store.open(place, create=True)
    store.replace(DOCUMENT, "laptop")
    draft = store.document()
    return store, {str(one["name"]): id_ for kind in ("crew", "link", "call") for id_, one in draft.entries(kind)}


def test_a_hatch_gives_what_is_listed_and_nothing_else() -> None:
    there = {name for name in dir(Hatch) if not name.startswith("_")}
    assert there == SERVES


BAG = """[[item]]
name = "Pocket"
use = "uhf-body-worn"
count = 4
tunes_mhz = [[518, 542]]
"""


def test_a_kit_is_the_crews_that_sent_it(place: str) -> None:
    store, ids = job(place)
    with store:
        a, b = store.hatch(ids["A"]), store.hatch(ids["B"])
        assert a.kit() is None
        sent = a.send_kit(BAG, "Ines")
        assert (sent.says, sent.who, a.kit(), b.kit()) == ("4 Pocket", "Ines", sent, None)
        assert store.document().document == DOCUMENT, "nothing comes into the shoot before it is granted"
        assert a.send_kit(BAG, "Ines") == sent, "the same again is no other"
        assert store.happened_last("kit") == {ids["A"]: sent.when}
        for wrong, why in (
            ("", "no transmitter"), (BAG * 2, "stands twice"), ("[[item]]\nname = 4", "kit"), ("\0", "kit"),
            (BAG.replace("Pocket", "P" * 79), "too long a name"), (BAG + "#" * 100_000, "larger than"),
            (BAG + "".join(BAG.replace("Pocket", f"P{n}") for n in range(100)), "101 items"),
            (BAG.replace("uhf-body-worn", "lapel"), "kit"), (BAG + 'carriers = "labels.csv"\n', "did not come"),
        ):  # fmt: skip
            with pytest.raises(InputError, match=why):
                a.send_kit(wrong, "Ines")
        for number in range(49):
            a.send_kit(BAG.replace("count = 4", f"count = {5 + number}"), "Ines")
        with pytest.raises(InputError, match="50 times"):
            a.send_kit(BAG, "Ines")


def test_each_hatch_is_of_its_own_crew(place: str) -> None:
    store, ids = job(place)
    with store:
        a, b = store.hatch(ids["A"]), store.hatch(ids["B"])
        store.tell_carriers(
            [Given(ids["A"], ids["a"], ids["one"], 500_000), Given(ids["B"], ids["b"], ids["one"], 501_000)]
        )
        request = b.ask(WantedLinks(links=2, site="Quay", note="secret"), "Bo")
        assert [one.khz for one in a.carriers()] == [500_000]
        assert (a.requests(), [one.note for one in (r.wanted for r in b.requests())]) == ([], ["secret"])
        assert [link.name for link in a.own().links] == ["a"]
        assert [call.links for call in a.own().calls] == [("a",)]
        with pytest.raises(InputError, match="no such request"):
            a.give_back(request.id, "asked", "Ines")
        with pytest.raises(Conflict):
            a.tick(ids["b"], ids["one"], 501_000, "set", "Ines")
        with pytest.raises(InputError, match="no link of yours"):
            a.trouble(ids["b"], "x", "Ines")
        with pytest.raises(InputError, match="no call of yours"):
            a.ask(WantedLinks(links=1, call="two"), "Ines")
        with pytest.raises(InputError, match="not in the job any more"):
            store.hatch("i999").own()
        assert not hasattr(a, "document")
        assert [one.state for one in store.carriers_told()] == ["granted", "granted"]


def test_what_a_crew_holds_of_anothers_by_now_stays_the_others(place: str) -> None:
    store, ids = job(place)
    with store:
        a = store.hatch(ids["A"])
        request = a.ask(WantedLinks(links=1), "Ines")
        new = {"name": "c", "crew": "A", **KIT}
        store.grant(request.id, "asked", [(("link",), None, new)], "laptop")
        (link,) = store.request(request.id).links
        store.tell_carriers([Given(ids["A"], link, ids["one"], 502_000)])
        store.set_field(("link", link, "crew"), "A", "B", "laptop")
        a.tick(link, ids["one"], 502_000, "set", "Ines")
        assert store.document().at("link", link, "set_mhz") is None, "a tick writes into an own link alone"
        a.give_back(request.id, "set", "Ines")
        assert store.document().at("link", link, "name") == "c", "and only an own link is given back"


def test_states_are_compared_and_set(place: str) -> None:
    store, ids = job(place)
    with store:
        hatch = store.hatch(ids["A"])
        request = hatch.ask(WantedLinks(links=1), "Ines")
        store.refuse(request.id, "asked", "full", "laptop")
        with pytest.raises(Conflict, match="refused"):
            store.grant(request.id, "asked", [(("link",), None, {"name": "c", "crew": "A"})], "phone")
        assert len(store.document().document["link"]) == 2
        with pytest.raises(InputError, match="is refused cannot be given back"):
            hatch.give_back(request.id, "refused", "Ines")
        store.reopen(request.id, "refused", "laptop")
        store.grant(request.id, "asked", [(("link",), None, {"name": "c", "crew": "A"})], "laptop", "door 3")
        granted = store.request(request.id)
        assert (granted.state, granted.answer, len(granted.links)) == ("granted", "door 3", 1)
        store.reopen(request.id, "granted", "laptop")
        assert len(store.document().document["link"]) == 2
        steps = [(step.who, step.before, step.after) for step in store.request_steps(granted)]
        assert steps == [
            ("Ines", "", "asked"), ("laptop", "asked", "refused"), ("laptop", "refused", "asked"),
            ("laptop", "asked", "granted"), ("laptop", "granted", "asked"),
        ]  # fmt: skip


def test_a_carrier_is_told_until_it_is_ticked(place: str) -> None:
    store, ids = job(place)
    with store:
        hatch, key = store.hatch(ids["A"]), (ids["a"], ids["one"])
        assert len(store.tell_carriers([Given(ids["A"], *key, 500_000)])) == 1
        assert store.tell_carriers([Given(ids["A"], *key, 500_000)]) == [], "the same plan tells nothing"
        hatch.tick(*key, 500_000, "set", "Ines")
        hatch.tick(*key, 500_000, "heard", "Ines")
        assert store.document().at("link", ids["a"], "set_mhz") == 500.0
        assert hatch.carriers()[0].state == "heard"
        store.tell_carriers([Given(ids["A"], *key, 510_000, (511_000,), 20.0)])
        (now,) = hatch.carriers()
        assert (now.khz, now.before_khz, now.state, now.spares_khz) == (510_000, 500_000, "granted", (511_000,))
        with pytest.raises(Conflict, match=r"510\.0"):
            hatch.tick(*key, 500_000, "set", "Ines")
        store.tell_carriers([])
        assert hatch.carriers()[0].khz == 0, "it stands on 500 MHz: to be switched off"
        assert hatch.tick(*key, 0, "set", "Ines") is None
        assert hatch.carriers() == []
        store.tell_carriers([Given(ids["A"], *key, 520_000)])
        store.tell_carriers([])
        assert hatch.carriers() == [], "what nobody set is forgotten"
        hatch_again = Given(ids["A"], *key, 530_000)
        store.tell_carriers([hatch_again])
        hatch.tick(*key, 530_000, "set", "Ines")
        store.tell_carriers([], over=[ids["one"]])
        assert hatch.carriers() == [], "its call is over"


def test_what_is_sent_again_is_asked_once(place: str) -> None:
    store, ids = job(place)
    with store:
        a, b = store.hatch(ids["A"]), store.hatch(ids["B"])
        first = a.ask(WantedLinks(links=1, note="x"), "Ines", once="n-1")
        assert a.ask(WantedLinks(links=1, note="x"), "Ines", once="n-1") == first
        assert b.trouble("", "y", "Bo", once="n-1").crew == ids["B"], "another's action of that name is another"
        a.ask(WantedLinks(links=1, note="x"), "Ines", once="n-2")
        assert [one.kind for one in a.requests()] == ["carriers", "carriers"]
        assert [one.kind for one in b.requests()] == ["trouble"]


def test_a_tick_is_taken_back(place: str) -> None:
    store, ids = job(place)
    with store:
        hatch, key = store.hatch(ids["A"]), (ids["a"], ids["one"])
        store.tell_carriers([Given(ids["A"], *key, 500_000)])
        hatch.tick(*key, 500_000, "set", "Ines")
        hatch.tick(*key, 500_000, "clear", "Ines")
        assert hatch.carriers()[0].state == "granted"
        assert store.document().at("link", ids["a"], "set_mhz") is None


def test_a_crew_cannot_drown_the_coordinator(place: str) -> None:
    store, ids = job(place)
    with store:
        hatch = store.hatch(ids["A"])
        for _ in range(MOST_OPEN):
            hatch.trouble("", "x", "Ines")
        with pytest.raises(InputError, match="wait for an answer"):
            hatch.trouble("", "x", "Ines")
        with pytest.raises(InputError, match="2001 characters"):
            store.hatch(ids["B"]).trouble("", "x" * 2001, "Bo")


def test_two_crews_of_one_name_are_not_one(place: str) -> None:
    store, ids = job(place)
    with store:
        store.set_field(("crew", ids["B"], "name"), "B", "A", "laptop")
        assert store.hatch(ids["A"]).own().name == "A"
        with pytest.raises(InputError):
            store.hatch(ids["B"]).own()


def test_a_draft_is_read_again_only_where_the_document_changed(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from linkwright.store import rows

    store, ids = job(place)
    with store:
        store.document()
        read: list[int] = []
        whole: Callable[..., Any] = rows.read

        def counted(*given: Any) -> Any:
            read.append(1)
            return whole(*given)

        monkeypatch.setattr("linkwright.store.connection.rows.read", counted)
        store.hatch(ids["A"]).trouble("", "x", "Ines")
        assert store.document().revision == store.revision
        assert read == []
        store.set_field(("shoot", "title"), "Week", "Weeks", "laptop")
        assert store.document().at("shoot", "title") == "Weeks"
        assert read
