"""Linkwright plans a location crew's wireless microphone links, proves them and explains them."""

__version__ = "0.1.0"
