"""Exposure arithmetic: stops, series, strobes and daylight. Plain numbers, no pixels."""
