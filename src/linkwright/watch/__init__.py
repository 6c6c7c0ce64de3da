"""Receiver logs: intake, alarms and diagnosis, live and afterwards."""
