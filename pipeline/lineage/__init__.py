"""What descends from what; what went stale and why; what is covered; the only room with networkx."""
