"""The site's own theme: the language of the workshop drawing; MkDocs finds it by its entry point."""
