"""The document, its change log, attachments and the cache of results."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision: str | None = None


def _path() -> sa.types.TypeEngine[str]:
    return sa.String().with_variant(sa.String(collation="C"), "postgresql")


# long: a table each
def upgrade() -> None:
    op.create_table(
        "field",
        sa.Column("path", _path(), primary_key=True),
        sa.Column("parent", _path(), nullable=False),
        sa.Column("kind", sa.String(1), nullable=False),
        sa.Column("place", _path(), nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.CheckConstraint("kind IN ('t', 'l', 'v')", name="field_kind"),
    )
    op.create_index("field_parent", "field", ["parent", "place"])
    op.create_table(
        "change",
        sa.Column("revision", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("area", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("path", _path(), nullable=False),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text),
        sa.Column("made", sa.Integer, nullable=False),
        sa.Column("way", sa.Text, nullable=False),
        sa.Column("of", sa.Integer),
        sa.CheckConstraint("way IN ('do', 'undo', 'redo')", name="change_way"),
    )
    op.create_index("change_path", "change", ["path"])
    op.create_index("change_of", "change", ["of"])
    op.create_table(
        "content",
        sa.Column("hash", sa.String(64), primary_key=True),
        sa.Column("size_bytes", sa.BigInteger, nullable=False),
        sa.Column("complete", sa.Integer, nullable=False),
    )
    op.create_table(
        "piece",
        sa.Column("hash", sa.String(64), sa.ForeignKey("content.hash"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "attachment",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("hash", sa.String(64), sa.ForeignKey("content.hash"), nullable=False),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
    )
    op.create_table(
        "cached",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
