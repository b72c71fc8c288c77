"""The MkDocs plugin, templates and theme assets."""
