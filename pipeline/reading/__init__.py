"""From YAML text to model objects, keeping every value's line and column; the only room with yaml."""
