"""The pages: one module each, thin over the desk."""

from linkwright.web.pages import (
    air,
    bag,
    carriers,
    connect,
    crews,
    day,
    edit,
    event,
    ground,
    history,
    hunts,
    live,
    own,
    places,
    plan,
    prepare,
    recordings,
    setup,
    sheets,
    shoot,
    sound,
    wrap,
)

ROUTERS = tuple(
    page.router
    for page in (
        shoot, prepare, bag, edit, air, plan, carriers, ground, sound, recordings, day, setup, sheets, live, wrap,
        history, connect, places, crews, event, hunts, own,
    )
)  # fmt: skip
