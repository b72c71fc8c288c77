"""Reproduction parts for old vehicles: records in, proven gates, costs, plans and a portfolio site out."""

__version__ = "0.1.0"
