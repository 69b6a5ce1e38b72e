"""Sessions and shoot plans: what was planned, what was photographed, which frame is of which set-up."""
