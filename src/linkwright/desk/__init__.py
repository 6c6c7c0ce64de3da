"""The use cases without HTTP: the snapshot of the job, background work, the watch, listening, the wrap, places."""
