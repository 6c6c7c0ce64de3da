"""The day: calls, breaks, travel, setting up; when each transmitter's cells are changed, and how many to pack."""
