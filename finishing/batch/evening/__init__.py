"""Evening out exposure and colour within a set-up."""
