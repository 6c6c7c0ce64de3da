"""The tables. The migrations make them; a test holds both to be the same. docs/store.md describes them."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
)

metadata = MetaData()


def pointer_type() -> String:
    """Paths sort by their bytes, whatever language the database speaks."""
    return String().with_variant(String(collation="C"), "postgresql")


#: What was typed so far: a row for every table, list of tables, entry and value; `crc` is checked on reading.
field = Table(
    "field",
    metadata,
    Column("path", pointer_type(), primary_key=True),
    Column("parent", pointer_type(), nullable=False),
    Column("kind", String(1), nullable=False),
    Column("place", pointer_type(), nullable=False),
    Column("value", Text, nullable=False),
    Column("crc", BigInteger),
    CheckConstraint("kind IN ('t', 'l', 'v')", name="field_kind"),
    Index("field_parent", "parent", "place"),
)

#: Every change ever made, in order; `before` and `after` hold rows of `field`, so that it can be taken back.
change = Table(
    "change",
    metadata,
    Column("revision", Integer, primary_key=True, autoincrement=False),
    Column("at_ms", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("area", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("path", pointer_type(), nullable=False),
    Column("before", Text),
    Column("after", Text),
    Column("made", Integer, nullable=False, default=0),
    Column("way", Text, nullable=False, default="do"),
    Column("of", Integer),
    Column("crc", BigInteger),
    CheckConstraint("way IN ('do', 'undo', 'redo')", name="change_way"),
    Index("change_path", "path"),
    Index("change_of", "of"),
)

#: The bytes of attachments, once for each content; whole once `complete`.
content = Table(
    "content",
    metadata,
    Column("hash", String(64), primary_key=True),
    Column("size_bytes", BigInteger, nullable=False),
    Column("complete", Integer, nullable=False),
)
piece = Table(
    "piece",
    metadata,
    Column("hash", String(64), ForeignKey("content.hash"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("data", LargeBinary, nullable=False),
)
attachment = Table(
    "attachment",
    metadata,
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("hash", String(64), ForeignKey("content.hash"), nullable=False),
    Column("at_ms", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
)

#: Readings since the last whole minute, a second a row; then they become an attachment.
tail = Table(
    "tail",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("data", LargeBinary, nullable=False),
)

#: Results that can be computed again.
cached = Table(
    "cached",
    metadata,
    Column("key", Text, primary_key=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("data", LargeBinary, nullable=False),
)

#: Telephones and laptops that joined; of their tokens only the SHA-256.
device = Table(
    "device",
    metadata,
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("token_hash", String(64), nullable=False, unique=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("seen_ms", BigInteger),
    Column("revoked_ms", BigInteger),
    Column("ends_ms", BigInteger, nullable=False, server_default="0"),
    Column("crew", Text),
    CheckConstraint("role IN ('look', 'log', 'edit', 'crew', 'list')", name="device_role"),
)

#: Codes that are out, by their SHA-256, for minutes: what each lets in, as JSON.
code = Table(
    "code",
    metadata,
    Column("hash", String(64), primary_key=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("admits", Text, nullable=False),
)

#: Who joined, was refused, was forgotten; what is refused again from the same address is counted. Never a secret.
door = Table(
    "door",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("last_ms", BigInteger, nullable=False),
    Column("what", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("address", Text, nullable=False),
    Column("times", Integer, nullable=False),
)

#: What happened on the day, as a person noted it.
entry = Table(
    "entry",
    metadata,
    Column("id", Text, primary_key=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("text", Text, nullable=False),
)

#: Things done, and when: steps of setting up.
tick = Table(
    "tick",
    metadata,
    Column("key", Text, primary_key=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
)

#: What happened on the day, as the program can use it; only added to. `revision` is that of its line in `change`.
happening = Table(
    "happening",
    metadata,
    Column("revision", Integer, primary_key=True, autoincrement=False),
    Column("at_ms", BigInteger, nullable=False),
    Column("kind", Text, nullable=False),
    Column("about", Text, nullable=False),
    Column("data", Text, nullable=False),
    Column("who", Text, nullable=False),
    Index("happening_at", "at_ms", "revision"),
)

#: What crews asked for, and what became of it; who did what when stands in `change`. `wanted` and `links` are JSON.
request = Table(
    "request",
    metadata,
    Column("id", Text, primary_key=True),
    Column("crew", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("wanted", Text, nullable=False),
    Column("answer", Text, nullable=False, server_default=""),
    Column("links", Text, nullable=False, server_default="[]"),
    Column("at_ms", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("state_ms", BigInteger, nullable=False),
    CheckConstraint("kind IN ('carriers', 'trouble')", name="request_kind"),
    CheckConstraint(
        "state IN ('asked', 'granted', 'refused', 'set', 'heard', 'given back', 'answered')", name="request_state"
    ),
    Index("request_crew", "crew", "at_ms"),
)

#: The carrier that a crew was told last for a link in a call [kHz; 0: none, switch off], and what it did since.
carrier = Table(
    "carrier",
    metadata,
    Column("link", Text, primary_key=True),
    Column("call", Text, primary_key=True),
    Column("crew", Text, nullable=False),
    Column("khz", Integer, nullable=False),
    Column("before_khz", Integer, nullable=False, server_default="0"),
    Column("spares", Text, nullable=False, server_default="[]"),
    Column("power_mw", Float, nullable=False, server_default="0"),
    Column("told_ms", BigInteger, nullable=False),
    Column("set_ms", BigInteger),
    Column("heard_ms", BigInteger),
    Column("who", Text, nullable=False, server_default=""),
    Index("carrier_crew", "crew"),
)

#: What is hunted: where something is broken, what was learnt since, what is suspected (JSON), how it ended; who did
#: what when stands in `change`.
hunt = Table(
    "hunt",
    metadata,
    Column("id", Text, primary_key=True),
    Column("state", Text, nullable=False),
    Column("site", Text, nullable=False),
    Column("khz", Integer, nullable=False),
    Column("broken_ms", BigInteger, nullable=False),
    Column("link", Text, nullable=False, server_default=""),
    Column("note", Text, nullable=False, server_default=""),
    Column("request", Text, nullable=False, server_default=""),
    Column("crew", Text, nullable=False, server_default=""),
    Column("learnt", Text, nullable=False, server_default="[]"),
    Column("deeds", Integer, nullable=False, server_default="1"),
    Column("found", Text),
    Column("verdict", Text, nullable=False, server_default=""),
    Column("at_ms", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("state_ms", BigInteger, nullable=False),
    CheckConstraint("state IN ('open', 'closed')", name="hunt_state"),
    Index("hunt_at", "at_ms"),
)
