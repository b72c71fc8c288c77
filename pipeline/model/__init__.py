"""What a record is: frozen types for parts, evidence, tools, quotes and catalogues."""
