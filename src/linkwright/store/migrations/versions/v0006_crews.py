"""Devices of crews and of who fetches our list, codes that are out, what crews ask and what they were told."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

ROLES = "role IN ('look', 'log', 'edit', 'crew', 'list')"


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":  # it cannot change a condition: the table is made anew
        with op.batch_alter_table("device", recreate="always", copy_from=_device()) as batch:
            batch.add_column(sa.Column("crew", sa.Text))
    else:
        op.add_column("device", sa.Column("crew", sa.Text))
        op.drop_constraint("device_role", "device", type_="check")
        op.create_check_constraint("device_role", "device", ROLES)
    op.create_table(
        "code",
        sa.Column("hash", sa.String(64), primary_key=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("admits", sa.Text, nullable=False),
    )
    _request()
    _carrier()


def _device() -> sa.Table:
    """The table as it is before, with the condition as it will be."""
    return sa.Table(
        "device",
        sa.MetaData(),
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("token_hash", sa.String(64), nullable=False, unique=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("seen_ms", sa.BigInteger),
        sa.Column("revoked_ms", sa.BigInteger),
        sa.Column("ends_ms", sa.BigInteger, nullable=False, server_default="0"),
        sa.CheckConstraint(ROLES, name="device_role"),
    )


def _request() -> None:
    op.create_table(
        "request",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("crew", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("wanted", sa.Text, nullable=False),
        sa.Column("answer", sa.Text, nullable=False, server_default=""),
        sa.Column("links", sa.Text, nullable=False, server_default="[]"),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("state_ms", sa.BigInteger, nullable=False),
        sa.CheckConstraint("kind IN ('carriers', 'trouble')", name="request_kind"),
        sa.CheckConstraint(
            "state IN ('asked', 'granted', 'refused', 'set', 'heard', 'given back', 'answered')",
            name="request_state",
        ),
    )
    op.create_index("request_crew", "request", ["crew", "at_ms"])


def _carrier() -> None:
    op.create_table(
        "carrier",
        sa.Column("link", sa.Text, primary_key=True),
        sa.Column("call", sa.Text, primary_key=True),
        sa.Column("crew", sa.Text, nullable=False),
        sa.Column("khz", sa.Integer, nullable=False),
        sa.Column("before_khz", sa.Integer, nullable=False, server_default="0"),
        sa.Column("spares", sa.Text, nullable=False, server_default="[]"),
        sa.Column("power_mw", sa.Float, nullable=False, server_default="0"),
        sa.Column("told_ms", sa.BigInteger, nullable=False),
        sa.Column("set_ms", sa.BigInteger),
        sa.Column("heard_ms", sa.BigInteger),
        sa.Column("who", sa.Text, nullable=False, server_default=""),
    )
    op.create_index("carrier_crew", "carrier", ["crew"])
