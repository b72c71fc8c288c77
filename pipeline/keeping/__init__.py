"""Whom to believe what a run left for the next one: only what this user's own seal is on."""
