"""Strobe and ambient of frames taken apart, and blended anew."""
