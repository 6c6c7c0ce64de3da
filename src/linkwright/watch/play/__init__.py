"""Readings that never were: what the plan would give, with faults, and logs played again."""
