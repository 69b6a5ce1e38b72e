"""Finished files: a session's, or loose images'."""
