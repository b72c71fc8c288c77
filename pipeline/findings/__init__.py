"""How we say what is wrong: locations, findings, the rule catalogue, and text, JSON or SARIF output."""
