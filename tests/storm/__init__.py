"""Hostile weather, by the hour: `make storm`.

Each kind runs alone too (`python -m tests.storm kills --kills 1000`), takes a seed, and ends with a line of figures
or with what was lost. The tests run a short form of each.
"""
