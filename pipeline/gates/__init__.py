"""One function per requirement and per rule: model in, findings and states out."""
