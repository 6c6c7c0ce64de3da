"""Hunts that are kept: where something is broken, what was found out, and how it ended."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    op.create_table(
        "hunt",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("site", sa.Text, nullable=False),
        sa.Column("khz", sa.Integer, nullable=False),
        sa.Column("broken_ms", sa.BigInteger, nullable=False),
        sa.Column("link", sa.Text, nullable=False, server_default=""),
        sa.Column("note", sa.Text, nullable=False, server_default=""),
        sa.Column("request", sa.Text, nullable=False, server_default=""),
        sa.Column("crew", sa.Text, nullable=False, server_default=""),
        sa.Column("learnt", sa.Text, nullable=False, server_default="[]"),
        sa.Column("deeds", sa.Integer, nullable=False, server_default="1"),
        sa.Column("found", sa.Text),
        sa.Column("verdict", sa.Text, nullable=False, server_default=""),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("state_ms", sa.BigInteger, nullable=False),
        sa.CheckConstraint("state IN ('open', 'closed')", name="hunt_state"),
    )
    op.create_index("hunt_at", "hunt", ["at_ms"])
