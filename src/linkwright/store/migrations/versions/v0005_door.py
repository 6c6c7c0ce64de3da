"""Until when a device may come in, and who came in, or was not let in."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

#: Devices that joined before tokens had an end may come in for a week after they were seen last.
WEEK_MS = 7 * 86_400_000


def upgrade() -> None:
    op.add_column("device", sa.Column("ends_ms", sa.BigInteger, nullable=False, server_default="0"))
    op.execute(f"UPDATE device SET ends_ms = COALESCE(seen_ms, at_ms) + {WEEK_MS}")
    op.create_table(
        "door",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("last_ms", sa.BigInteger, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("address", sa.Text, nullable=False),
        sa.Column("times", sa.Integer, nullable=False),
    )
