"""The page that the client answers on, and the answer brought in."""
