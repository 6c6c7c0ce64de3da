"""A large job goes on from its plan: what a change does not touch is not planned again."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from bench.long_event import long_event
from tests.web.conftest import shoot_into, wait_for_plan

from linkwright.desk import planning
from linkwright.desk.desk import Desk
from linkwright.desk.editing import put
from linkwright.plan import periods
from linkwright.plan.model import PlannedCall
from linkwright.plan.pipeline import make_plan
from linkwright.plan.solve import Runner
from linkwright.store import Store
from linkwright.work import carriers


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is large begins with very little."""
    monkeypatch.setattr(planning, "LARGE", 10)
    monkeypatch.setattr(periods, "WHOLE_UP_TO", 10)


@contextlib.contextmanager
def begun(store: Store, dask: str = "") -> Iterator[Desk]:
    desk = Desk(store, dask=dask)
    desk.start()
    try:
        yield desk
    finally:
        desk.close()


def calls_of(desk: Desk) -> dict[str, PlannedCall]:
    wait_for_plan(desk)
    plan = desk.snapshot().plan
    assert plan is not None
    return {call.call: call for call in plan.calls}


@pytest.mark.usefixtures("large")
def test_what_a_change_does_not_touch_stands_even_after_a_restart(tmp_path: Path) -> None:
    shoot = long_event(60, seed=3, venues=4)
    with Store.open(tmp_path / "event.lwjob", create=True) as store:
        shoot_into(store, shoot)
        with begun(store) as desk:
            first = calls_of(desk)
            one = shoot.call[0]
            link = desk.names().id_of("link", one.links[0])
            store.set_field(("link", link, "spares"), store.document().at("link", link, "spares"), 2, "Potter")
            then = calls_of(desk)
        touched = {call.name for call in shoot.call if then[call.name] is not first[call.name]}
        assert one.name in touched
        sites = {call.site for call in shoot.call if one.links[0] in call.links}
        assert {call.site for call in shoot.call if call.name in touched} == sites
        assert [len(link.spares_khz) for link in then[one.name].links if link.link == one.links[0]] == [2]
    with Store.open(tmp_path / "event.lwjob") as store, begun(store) as desk:
        again = calls_of(desk)
        store.set_field(("link", link, "spares"), 2, 1, "Potter")
        last = calls_of(desk)
        assert {name for name, call in again.items() if last[name] is not call} == touched
        assert {name: [khz.carrier_khz for khz in call.links] for name, call in last.items()} == {
            name: [khz.carrier_khz for khz in call.links] for name, call in then.items()
        }


@pytest.mark.usefixtures("large")
def test_a_new_name_touches_only_who_is_called_so(tmp_path: Path) -> None:
    shoot = long_event(60, seed=3, venues=4)
    with Store.open(tmp_path / "event.lwjob", create=True) as store:
        shoot_into(store, shoot)
        with begun(store) as desk:
            before = calls_of(desk)
            first, site = shoot.call[0], shoot.call[0].site
            assert site is not None
            new = {"link": (first.links[0], "Guest"), "call": (first.name, "The opening"), "site": (site, "Town")}
            for kind, (was, now) in new.items():
                put(store, desk.names(), (kind, desk.names().id_of(kind, was), "name"), was, now, "Potter")
            after = calls_of(desk)
            plan = desk.snapshot().plan
    assert plan is not None
    calls = {"The opening" if name == first.name else name for name in before}
    assert after.keys() == calls
    for name, call in after.items():
        then = before[first.name if name == "The opening" else name]
        assert [link.carrier_khz for link in call.links] == [link.carrier_khz for link in then.links]
        assert call.site == ("Town" if then.site == site else then.site)
        assert then.site == site or call == then
    assert after["The opening"].links[0].link == "Guest"
    said = " ".join(finding.says + finding.about for finding in plan.findings)
    assert first.name not in said
    assert not re.search(rf"{first.links[0]}\b", said)


@pytest.mark.usefixtures("large")
def test_names_that_go_round_plan_everything(tmp_path: Path) -> None:
    shoot = long_event(30, seed=3, venues=2)
    with Store.open(tmp_path / "event.lwjob", create=True) as store:
        shoot_into(store, shoot)
        with begun(store) as desk:
            before = calls_of(desk)
            one, other = (link.name for link in shoot.link[:2])
            path, beside = (("link", desk.names().id_of("link", name), "name") for name in (one, other))
            for at, was, now in ((path, one, "Between"), (beside, other, one), (path, "Between", other)):
                put(store, desk.names(), at, was, now, "Potter")
            after = calls_of(desk)
    swapped = {one: other, other: one}
    carriers_then = {(n, link.link): link.carrier_khz for n, call in before.items() for link in call.links}
    carriers_now = {(n, link.link): link.carrier_khz for n, call in after.items() for link in call.links}
    assert carriers_now == {(n, swapped.get(name, name)): khz for (n, name), khz in carriers_then.items()}


def test_a_large_job_is_planned_in_other_processes_and_the_plan_is_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(carriers, "MANY_LINKS", 20)
    asked: list[int] = []
    begin = carriers.on_processes

    def begun_on(count: int, look: Callable[[], None]) -> contextlib.AbstractContextManager[Runner]:
        asked.append(count)
        return begin(count, look)

    monkeypatch.setattr(carriers, "on_processes", begun_on)
    shoot = long_event(40, seed=3, venues=4)
    with Store.open(tmp_path / "event.lwjob", create=True) as store:
        shoot_into(store, shoot)
        with begun(store) as desk:
            calls = calls_of(desk)
    assert asked == [max(1, (os.cpu_count() or 1) - 1)]
    assert calls == {call.call: call for call in make_plan(shoot, {}).calls}


@pytest.mark.filterwarnings("default")  # what Dask warns of is its own
def test_a_large_job_is_planned_by_a_scheduler_and_here_where_there_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr(carriers, "MANY_LINKS", 20)
    monkeypatch.setattr(carriers, "DASK_PATIENCE_S", 0.2)
    shoot = long_event(30, seed=3, venues=2)
    whole = {call.call: call for call in make_plan(shoot, {}).calls}
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None, protocol="tcp",
        host="127.0.0.1", silence_logs=50,
    ) as cluster:  # fmt: skip
        for number, address in enumerate((cluster.scheduler_address, "tcp://127.0.0.1:1")):
            with Store.open(tmp_path / f"event-{number}.lwjob", create=True) as store:
                shoot_into(store, shoot)
                with begun(store, address) as desk:
                    assert calls_of(desk) == whole
            gone = [record.getMessage() for record in caplog.records if "planned on this machine" in record.message]
            assert len(gone) == number
