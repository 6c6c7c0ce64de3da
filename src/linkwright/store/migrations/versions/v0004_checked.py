"""A checksum for rows of the document and of its changes; readings of the last minute, a second a row."""

from __future__ import annotations

import json
import zlib

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

#: What is checked, in this order; the key of a row is the first.
CHECKED = {
    "field": ("path", "kind", "place", "value"),
    "change": ("revision", "at_ms", "who", "area", "what", "path", "before", "after", "made", "way", "of"),
}


def upgrade() -> None:
    op.create_table(
        "tail",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    connection = op.get_bind()
    for name, columns in CHECKED.items():
        op.add_column(name, sa.Column("crc", sa.BigInteger))
        table = sa.table(name, *(sa.column(column) for column in (*columns, "crc")))
        key = table.c[columns[0]]
        held = connection.execute(sa.select(*(table.c[column] for column in columns))).all()
        rows = [{"_key": row[0], "_crc": zlib.crc32(json.dumps(list(row)).encode())} for row in held]
        if rows:
            change = sa.update(table).where(key == sa.bindparam("_key")).values(crc=sa.bindparam("_crc"))
            connection.execute(change, rows)
