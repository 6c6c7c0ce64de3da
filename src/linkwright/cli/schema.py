"""`linkwright schema`: the JSON Schema of both files."""

from __future__ import annotations

from typing import Annotated, Literal

import typer


def run(
    of: Annotated[Literal["shoot", "plan"], typer.Argument(help="which file")],
    json: Annotated[bool, typer.Option("--json", help="as it is: the schema is JSON")] = False,
) -> None:
    """The JSON Schema of the shoot or of the plan, made from the models that read and write them."""
    from linkwright.cli.output import print_json

    del json  # a schema is JSON either way
    if of == "shoot":
        from linkwright.shoot.models import Shoot

        print_json(Shoot.model_json_schema(by_alias=True))
    else:
        from linkwright.plan.model import Plan

        print_json(Plan.model_json_schema(by_alias=True))
