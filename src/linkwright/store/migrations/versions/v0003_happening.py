"""What happened on the day, by kind, with what belongs to it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "happening",
        sa.Column("revision", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("about", sa.Text, nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
    )
    op.create_index("happening_at", "happening", ["at_ms", "revision"])
