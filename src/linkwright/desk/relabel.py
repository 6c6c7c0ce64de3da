"""A plan under other names: what was planned stays with its link, whatever that is called by now."""

from __future__ import annotations

from linkwright.desk.names import Names
from linkwright.plan.model import Plan, PlannedCall


def relabelled(plan: Plan, then: Names, now: Names) -> Plan:
    """The plan with links, calls and sites called as they are now; sentences in it keep their words."""

    def called(kind: str, name: str) -> str:
        return now.called.get(then.now.get((kind, name), ""), name)

    def of_call(call: PlannedCall) -> PlannedCall:
        links = tuple(link.model_copy(update={"link": called("link", link.link)}) for link in call.links)
        lost = tuple(
            unplaced.model_copy(update={"link": called("link", unplaced.link)}) for unplaced in call.unplaced
        )
        names = {"call": called("call", call.call), "site": called("site", call.site)}
        return call.model_copy(update={**names, "links": links, "unplaced": lost})

    same = all(now.called.get(id_, name) == name for (_, name), id_ in then.now.items())
    return plan if same else plan.model_copy(update={"calls": tuple(map(of_call, plan.calls))})
