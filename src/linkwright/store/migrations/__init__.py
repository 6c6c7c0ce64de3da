"""The steps from one kind of store to the next, oldest first; run by `linkwright.store.migrate`."""
