"""Results that can be computed again; losing them loses nothing."""

from __future__ import annotations

from sqlalchemy import Connection, delete, func, insert, select

from linkwright.store.tables import cached

#: More than this is made room for by dropping the oldest; plans of a thousand links have some 3 MB.
MOST_CACHE_BYTES = 64 * 1024 * 1024


def get(connection: Connection, key: str) -> bytes | None:
    """What was put under a key, or None."""
    data = connection.execute(select(cached.c.data).where(cached.c.key == key)).scalar()
    return None if data is None else bytes(data)


def put(connection: Connection, key: str, data: bytes, at_ms: int) -> None:
    """Keep `data` under `key`; the oldest go where there is too much. What is larger than all is not kept."""
    connection.execute(delete(cached).where(cached.c.key == key))
    if len(data) > MOST_CACHE_BYTES:
        return
    connection.execute(insert(cached).values(key=key, at_ms=at_ms, data=data))
    sizes = connection.execute(
        select(cached.c.key, func.length(cached.c.data)).order_by(cached.c.at_ms.desc(), cached.c.key != key)
    )
    total, dropped = 0, []
    for old, size_bytes in sizes:
        total += size_bytes
        if total > MOST_CACHE_BYTES:
            dropped.append(old)
    for old in dropped:
        connection.execute(delete(cached).where(cached.c.key == old))


def drop(connection: Connection) -> None:
    """Forget all results."""
    connection.execute(delete(cached))
