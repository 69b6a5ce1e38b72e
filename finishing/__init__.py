"""Finishing: gives a whole photo session its finished look, from files a photographer can read."""

__version__ = "0.2.1"
