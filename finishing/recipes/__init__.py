"""Looks as files: the recipe, its reader, and the library that recipes are found in."""
