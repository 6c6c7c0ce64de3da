"""The rules that a person has corrected: a folder of their own beside the places, with TOML files."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Final

from pydantic import ValidationError

from linkwright.rules import Correction
from linkwright.shoot.errors import InputError
from linkwright.shoot.reading import read_text
from linkwright.shoot.toml import parse_toml
from linkwright.store.placebook import own_folder

#: Largest file, and how many are read.
MOST_BYTES: Final = 1024 * 1024
MOST_FILES: Final = 500


def own_corrections(environment: Mapping[str, str] = os.environ) -> tuple[Correction, ...]:
    """The corrections in the person's folder, by name of the file; none where there is no folder.

    Raises InputError for a file that cannot be read as one: a rule that was corrected is not passed over.
    """
    folder = own_folder(environment).with_name("rules")
    try:
        paths = sorted(path for path in folder.iterdir() if path.suffix == ".toml" and path.name[0] != ".")
    except OSError:
        return ()
    corrections = []
    for path in paths[:MOST_FILES]:
        try:
            text = read_text(path, path.name, MOST_BYTES)
            corrections.append(Correction.model_validate(parse_toml(text, path.name)))
        except ValidationError as error:
            first = error.errors()[0]
            says = f"cannot be read as corrected rules: {'.'.join(map(str, first['loc']))}: {first['msg']}"
            raise InputError(says, path=str(path)) from None
    return tuple(corrections)
