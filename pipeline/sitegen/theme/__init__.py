"""The site's own theme: the language of the workshop drawing. Templates, styles and scripts; MkDocs finds it by entry point."""
