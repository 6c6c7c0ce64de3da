"""The crew's devices, what they noted, and what was ticked off."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "device",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("token_hash", sa.String(64), nullable=False, unique=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("seen_ms", sa.BigInteger),
        sa.Column("revoked_ms", sa.BigInteger),
        sa.CheckConstraint("role IN ('look', 'log', 'edit')", name="device_role"),
    )
    op.create_table(
        "entry",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
    )
    op.create_table(
        "tick",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
    )
