"""Atomic writes of files, and round-trip edits of records that keep comments and order."""
