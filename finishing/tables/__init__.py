"""Looks as tables: the process nodes of the Common LUT Format (SMPTE ST 2136-1), written and read."""
