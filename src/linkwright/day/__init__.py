"""The day: schedule, batteries, and what to do in which order."""
