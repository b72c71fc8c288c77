"""The demo: an invented maker's workspace, synthetic parts up to its true size, and its history replayed."""
