"""Pictures and tables for the eye and for other programs: comparison, cut-out, table files."""
