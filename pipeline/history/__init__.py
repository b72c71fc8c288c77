"""What git knows: who recorded what and when, and any past state of the records.

The only room with git. Nothing that a repository holds is ever executed (`safe_git`), nothing that goes wrong
raises: every reading returns its value beside the named conditions (`conditions`) that limit it.

- `repository`: open a repository, its head, find a revision, ancestors, signatures.
- `raw_log`, `blobs`: one pass over the raw log, one batch reader of objects.
- `recorded`: the dated facts of every record: first recorded, last changed, by whom. Cached by head (`cache`).
- `past`: the files as they stood at a revision or a day, and what changed between two revisions.
- `contradictions`: where a record says one thing and git another.
- `replay`: make a real repository out of dated commits.
"""
